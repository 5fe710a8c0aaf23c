#include "calibration/ruler/ruler_reader.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/calibration/ruler/rendered_ruler.h"
#include "tests/calibration/ruler/ruler_trial.h"
#include "tests/calibration/ruler/ruler_views.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::inch_ruler;
using test::render_wall;
using test::ruler_sheet;
using test::scale_error;
using test::usual_ruler;
using test::view_of;

/// Some 4 px a millimetre, from the side and a little from above.
test::RulerCamera usual_camera() {
  return view_of(test::oblique_pose(280.0));
}

/// Every tick's reading, against the tick of the wall nearest to its pixel: numbers that are off by
/// a whole division anywhere would show. sense -1: the numbers of the reading grow against the
/// wall.
void check_count(const RulerReading& reading, const test::RulerCamera& camera, double sense = 1.0) {
  REQUIRE(reading.status == RulerStatus::kRead);
  const auto wall_mm = [&](const RulerTick& tick) {
    return test::unproject(camera.pixel_from_wall, tick.pixel).x_mm;
  };
  const double offset_mm =
      std::round(wall_mm(reading.ticks.front()) - sense * reading.ticks.front().x_mm);
  double worst_mm = 0.0;
  for (const RulerTick& tick : reading.ticks) {
    worst_mm = std::max(worst_mm, std::abs(wall_mm(tick) - sense * tick.x_mm - offset_mm));
  }
  CHECK(worst_mm < 0.25);  // a quarter of a division: counts are right, worn edges allowed for
}

/// Pixels along one row of a frontal picture that show one millimetre: the strongest line of the
/// Fourier spectrum, its place by a parabola through the logarithms of three powers (exact for a
/// Gaussian taper).
double spectral_period_px(const cv::Mat& picture, cv::Range rows, double least, double most) {
  cv::Mat strip;
  picture.rowRange(rows).convertTo(strip, CV_32F);
  cv::Mat profile;
  cv::reduce(strip, profile, 0, cv::REDUCE_AVG);
  profile -= cv::mean(profile)[0];
  constexpr int kPadded = 16384;
  cv::Mat padded = cv::Mat::zeros(1, kPadded, CV_32F);
  for (int x = 0; x < profile.cols; ++x) {
    const double z = (x - profile.cols / 2.0) / (profile.cols / 6.0);
    padded.at<float>(x) = profile.at<float>(x) * static_cast<float>(std::exp(-0.5 * z * z));
  }
  cv::Mat spectrum;
  cv::dft(padded, spectrum, cv::DFT_COMPLEX_OUTPUT);
  const auto log_power = [&](int k) {
    const auto line = spectrum.at<cv::Vec2f>(k);
    return std::log(static_cast<double>(line.dot(line)));
  };
  int best = cvCeil(kPadded / most);
  for (int k = best; k <= cvFloor(kPadded / least); ++k) {
    if (log_power(k) > log_power(best)) best = k;
  }
  const double a = log_power(best - 1);
  const double b = log_power(best);
  const double c = log_power(best + 1);
  return kPadded / (best + 0.5 * (a - c) / (a - 2.0 * b + c));
}

}  // namespace

TEST_SUITE_BEGIN("ruler_reader");

// The truth is the renderer's camera. Asked for: 0.1 % of a displacement over the middle 60 % of
// the visible ruler, 20 mm above its edge. The width of the pull over some 15 views scatters by 1 /
// sqrt(30) = 18 %; 0.5 to 1.6 is three times that around 1. The bench does the same for 200.
TEST_CASE("random views are read right or not at all, with honest uncertainties") {
  double square_error = 0.0;
  double square_pull = 0.0;
  int read = 0;
  int refused_large = 0;
  int large = 0;
  for (std::uint64_t seed = 500; seed < 520; ++seed) {
    const test::RulerView view = test::random_ruler_view(seed);
    const test::RulerTrial trial = test::judge(view, read_ruler(test::render(view)));
    INFO("seed ", seed, ", ", view.division_px, " px: ", trial.reading.message);
    CHECK_FALSE(trial.wrong_period);
    const bool refused = trial.reading.status != RulerStatus::kRead;
    if (view.division_px >= 4.0) {
      ++large;
      refused_large += refused ? 1 : 0;
    }
    if (refused) continue;
    ++read;
    square_error += trial.scale_error * trial.scale_error;
    square_pull += trial.pull * trial.pull;
  }
  MESSAGE("read ",
          read,
          " of 20, rms error ",
          std::sqrt(square_error / read),
          ", pull ",
          std::sqrt(square_pull / read),
          ", refused ",
          refused_large,
          " of ",
          large,
          " from 4 px on");
  CHECK(read >= 10);
  CHECK(refused_large <= 2);
  CHECK(std::sqrt(square_error / read) < 1e-3);
  CHECK(std::sqrt(square_pull / read) > 0.5);
  CHECK(std::sqrt(square_pull / read) < 1.6);
}

// Independent reference: the period from the discrete Fourier transform of the picture's own rows.
// Its place is uncertain by about 1e-4 of a line's width, here 1e-5 of the period.
TEST_CASE("on a frontal view the division is the period of the spectrum") {
  const test::RulerCamera camera =
      view_of({.roll_rad = 0.0, .distance_mm = 260.0, .aim = {140.0, 0.0}});
  const cv::Mat picture = render_wall({ruler_sheet(usual_ruler(), {0.0, 0.0})}, camera, {});
  const RulerReading reading = read_ruler(picture);
  REQUIRE(reading.status == RulerStatus::kRead);
  // The edge lies in row 359.5; the short ticks reach 3.5 mm = 15 px down from it.
  const double period_px = spectral_period_px(picture, {363, 372}, 3.5, 5.0);
  const double read_px = 1.0 / mm_per_px(reading.map, {639.5, 367.0});
  CHECK(read_px == test::within_rel(period_px, 2e-4));
  CHECK(reading.division_px == test::within_rel(period_px, 0.01));
}

TEST_CASE("the map holds on the ruler and on the path above it") {
  const test::RulerCamera camera = usual_camera();
  const RulerReading reading =
      read_ruler(render_wall({ruler_sheet(usual_ruler(), {0.0, 0.0})}, camera, {}));
  check_count(reading, camera);
  CHECK(reading.division == Division::kMillimetre);
  CHECK(reading.message.find("one division taken to be 1 mm") != std::string::npos);
  CHECK(reading.ticks.size() > 240);
  CHECK(scale_error(reading, camera, 0.0) == test::within_abs(0.0, 1e-4));
  // Five times what 260 ticks of 14 px, each good to 0.03 px, leave at 20 mm = 80 px above.
  CHECK(scale_error(reading, camera, 20.0) == test::within_abs(0.0, 5e-4));
  for (const RulerTick& tick : reading.ticks) {
    CHECK(tick.length_class == (tick.index % 10 == 0 ? 2 : tick.index % 5 == 0 ? 1 : 0));
  }
}

TEST_CASE("an inch ruler is told from a millimetre ruler by its lengths") {
  const test::RulerCamera camera = usual_camera();
  test::RulerLook look = inch_ruler(3.0, 1.5);
  look.length_mm = 254.0;
  const RulerReading reading = read_ruler(render_wall({ruler_sheet(look, {0.0, 0.0})}, camera, {}));
  REQUIRE(reading.status == RulerStatus::kRead);
  CHECK(reading.division == Division::kSixteenthInch);
  CHECK(reading.message.find("1/16 inch") != std::string::npos);
  CHECK(scale_error(reading, camera, 10.0) == test::within_abs(0.0, 1e-3));
}

TEST_CASE("worn ticks, a hand, a shadow, glare and the laser do not shift the count") {
  const test::RulerCamera camera = usual_camera();
  test::RulerLook look = usual_ruler();
  test::RulerLight light;
  SUBCASE("worn ticks and a long worn stretch") {
    look.tick_mm = [](int i) {
      if (i % 7 == 3 || i % 11 == 5 || (i > 120 && i < 150)) return 0.0;
      return i % 10 == 0 ? 7.0 : i % 5 == 0 ? 5.0 : 3.5;
    };
  }
  SUBCASE("a hand over 45 mm of it, a shadow beside, glare, a spot on it") {
    light.hands = {{500, 300, 180, 300}};
    light.shadows = {{100, 200, 200, 300}};
    light.glare_px = {{850.0, 400.0}};
    light.laser_px = {{950.0, 380.0}};
  }
  SUBCASE("little light") {
    light.exposure = 0.25;
    light.noise_dn = 1.5;
  }
  SUBCASE("bright ticks on a dark ruler") {
    std::swap(look.ground_dn, look.ink_dn);
  }
  const RulerReading reading =
      read_ruler(render_wall({ruler_sheet(look, {0.0, 0.0})}, camera, light));
  INFO(reading.message);
  check_count(reading, camera);
  CHECK(reading.ticks.size() > 140);
  CHECK(scale_error(reading, camera, 0.0) == test::within_abs(0.0, 5e-4));
}

TEST_CASE("a ruler may hang upside down, upright or be seen in a mirror") {
  const test::RulerCamera camera = usual_camera();
  const cv::Mat picture = render_wall({ruler_sheet(usual_ruler(), {0.0, 0.0})}, camera, {});
  SUBCASE("upside down") {
    const RulerReading reading =
        read_ruler(render_wall({ruler_sheet(usual_ruler(), {250.0, -20.0}, true)}, camera, {}));
    check_count(reading, camera);
  }
  SUBCASE("the picture turned by half a turn: right is still right") {
    cv::Mat turned;
    cv::rotate(picture, turned, cv::ROTATE_180);
    const RulerReading reading = read_ruler(turned);
    REQUIRE(reading.status == RulerStatus::kRead);
    CHECK(reading.ticks.front().pixel.x_px < reading.ticks.back().pixel.x_px);
    CHECK(reading.ticks.size() > 240);
  }
  SUBCASE("mirrored: the same differences, and the message says what is assumed") {
    cv::Mat mirrored;
    cv::flip(picture, mirrored, 1);
    const RulerReading reading = read_ruler(mirrored);
    REQUIRE(reading.status == RulerStatus::kRead);
    CHECK(
        reading.message.find("grow to the right is assumed, two labelled places would prove it") !=
        std::string::npos);
    const auto flipped = [&](double x_mm) {
      PixelPoint p = test::project(camera, {x_mm, 0.0});
      p.x_px = 1279.0 - p.x_px;
      return wall_from_pixel(reading.map, p).x_mm;
    };
    CHECK(flipped(60.0) - flipped(180.0) == test::within_rel(120.0, 1e-4));
  }
  SUBCASE("upright: numbers grow downwards") {
    cv::Mat upright;
    cv::transpose(picture, upright);
    const RulerReading reading = read_ruler(upright);
    REQUIRE(reading.status == RulerStatus::kRead);
    CHECK(reading.message.find("grow downwards is assumed") != std::string::npos);
  }
}

TEST_CASE("a colour picture of a ruler gives what its gray one gives") {
  const cv::Mat gray = render_wall({ruler_sheet(usual_ruler(), {0.0, 0.0})}, usual_camera(), {});
  cv::Mat colour;
  cv::cvtColor(gray, colour, cv::COLOR_GRAY2BGR);
  CHECK(read_ruler(colour).map == read_ruler(gray).map);
}

TEST_CASE("labelled places give the readings, and contradictions are named") {
  const test::RulerCamera camera = usual_camera();
  const cv::Mat picture = render_wall({ruler_sheet(usual_ruler(), {0.0, 0.0})}, camera, {});
  const auto label = [&](double wall_mm, double reading_mm) {
    PixelPoint pixel = test::project(camera, {wall_mm, -2.0});
    pixel.x_px += 0.8;  // set by hand
    return RulerLabel{pixel, reading_mm};
  };
  const auto place_mm = [&](const RulerReading& reading, double wall_mm) {
    return wall_from_pixel(reading.map, test::project(camera, {wall_mm, 0.0})).x_mm;
  };
  // The ticks place the readings; a hand's 0.8 px = 0.2 mm must not.
  SUBCASE("one label") {
    const RulerReading reading = read_ruler(picture, {.labels = {label(83.0, 83.0)}});
    REQUIRE(reading.status == RulerStatus::kRead);
    CHECK(place_mm(reading, 120.0) == test::within_abs(120.0, 0.02));
  }
  SUBCASE("two labels against the usual sense") {
    const RulerReading reading =
        read_ruler(picture, {.labels = {label(50.0, 250.0), label(170.0, 130.0)}});
    REQUIRE(reading.status == RulerStatus::kRead);
    CHECK(place_mm(reading, 120.0) == test::within_abs(180.0, 0.02));
    CHECK(reading.message.find("assumed") == std::string::npos);
    CHECK(reading.ticks.front().x_mm < reading.ticks.back().x_mm);
    CHECK_FALSE(extrapolates(reading.map, test::project(camera, {120.0, 20.0})));
  }
  SUBCASE("two labels at one place prove no sense, one off the symmetry of the ticks does") {
    const RulerReading same =
        read_ruler(picture, {.labels = {label(80.0, 80.0), label(80.0, 80.0)}});
    REQUIRE(same.status == RulerStatus::kRead);
    CHECK(same.message.find("assumed") != std::string::npos);
    const RulerReading one = read_ruler(picture, {.labels = {label(83.0, 117.0)}});
    REQUIRE(one.status == RulerStatus::kRead);
    CHECK(place_mm(one, 120.0) == test::within_abs(80.0, 0.02));
    CHECK(one.message.find("assumed") == std::string::npos);
  }
  SUBCASE("a mistyped label") {
    const RulerReading reading =
        read_ruler(picture, {.labels = {label(50.0, 50.0), label(170.0, 180.0)}});
    CHECK(reading.status == RulerStatus::kLabelsDisagree);
    CHECK(reading.message.find("one division taken to be 1 mm") != std::string::npos);
  }
  SUBCASE("a label that says ten millimetres where the tick is a short one") {
    const RulerReading reading = read_ruler(picture, {.labels = {label(83.0, 80.0)}});
    CHECK(reading.status == RulerStatus::kLabelsDisagree);
  }
}

TEST_CASE("of two rulers the longer is read, or the one that the hint points at") {
  const test::RulerCamera camera = usual_camera();
  test::RulerLook inches = inch_ruler(3.0, 1.5);
  inches.length_mm = 200.0;
  const cv::Mat picture = render_wall(
      {ruler_sheet(usual_ruler(), {0.0, 0.0}), ruler_sheet(inches, {20.0, -60.0})}, camera, {});
  const RulerReading longest = read_ruler(picture);
  CHECK(longest.rulers_seen == 2);
  CHECK(longest.division == Division::kMillimetre);
  CHECK(longest.message.find("the longest of 2 rulers") != std::string::npos);
  check_count(longest, camera);
  const RulerReading hinted =
      read_ruler(picture,
                 {.hint = RulerHint{test::project(camera, {20.0, -60.0}),
                                    test::project(camera, {220.0, -60.0})}});
  REQUIRE(hinted.status == RulerStatus::kRead);
  CHECK(hinted.division == Division::kSixteenthInch);
}

TEST_CASE("an empty or too large picture shows no ruler, other misuse is the caller's bug") {
  const RulerReading reading = read_ruler({});
  CHECK(reading.status == RulerStatus::kNoRuler);
  CHECK(reading.message == "the picture is empty, so it shows no ruler; take another");
  const cv::Mat picture = cv::Mat::zeros(100, 100, CV_8U);
  CHECK(read_ruler(picture).status == RulerStatus::kNoRuler);
  const RulerReading too_large = read_ruler(cv::Mat::zeros(20, 40000, CV_8U));
  CHECK(too_large.status == RulerStatus::kNoRuler);
  CHECK(too_large.message.find("30000 px") != std::string::npos);
  CHECK_THROWS_AS((void)read_ruler(cv::Mat::zeros(10, 10, CV_32F)), std::invalid_argument);
  CHECK_THROWS_AS((void)read_ruler(picture, {.hint = RulerHint{{5.0, 5.0}, {5.0, 5.0}}}),
                  std::invalid_argument);
  CHECK_THROWS_AS((void)read_ruler(picture, {.labels = {{{5.0, 5.0}, std::nan("")}}}),
                  std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
