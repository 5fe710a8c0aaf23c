#include "calibration/motion/texture_patch.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <doctest/doctest.h>

#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::within_abs;

/// A wall's texture as a function, so that it can be looked at from anywhere: waves of 12 to 30 px.
double texture(double x_px, double y_px) {
  return 120.0 + 22.0 * std::sin(0.41 * x_px + 0.13 * y_px) +
         18.0 * std::sin(-0.17 * x_px + 0.36 * y_px + 1.0) +
         12.0 * std::sin(0.23 * x_px + 0.29 * y_px + 2.5);
}

struct View {
  double shift_x_px = 0.0;
  double shift_y_px = 0.0;
  double turn_rad = 0.0;  ///< from x towards y, about (50, 50)
  double gain = 1.0;
  double offset = 0.0;
  double noise_dn = 0.0;
  std::uint64_t seed = 1;
};

/// What was at p is now at (50, 50) + R (p - (50, 50)) + shift.
cv::Mat picture(const View& view) {
  cv::RNG random(view.seed);
  cv::Mat values(101, 101, CV_8UC1);
  const double c = std::cos(view.turn_rad);
  const double s = std::sin(view.turn_rad);
  for (int y = 0; y < values.rows; ++y) {
    for (int x = 0; x < values.cols; ++x) {
      const double dx = x - 50.0 - view.shift_x_px;
      const double dy = y - 50.0 - view.shift_y_px;
      const double light = texture(50.0 + c * dx + s * dy, 50.0 - s * dx + c * dy);
      values.at<std::uint8_t>(y, x) = cv::saturate_cast<std::uint8_t>(
          view.gain * light + view.offset + random.gaussian(view.noise_dn));
    }
  }
  return values;
}

cv::Mat reference_texture() {
  return picture({});
}

constexpr PixelPoint kMiddle{50.0, 50.0};

/// Rounding to whole counts alone: 0.29 counts in each picture, and a spline that is exact to
/// 0.001 px for waves so long.
constexpr double kRounding_px = 0.02;

}  // namespace

TEST_SUITE_BEGIN("texture_patch");

TEST_CASE("a window holds the luma around a pixel") {
  cv::Mat gray(20, 30, CV_8UC1);
  for (int y = 0; y < 20; ++y) {
    for (int x = 0; x < 30; ++x) {
      gray.at<std::uint8_t>(y, x) = static_cast<std::uint8_t>(10 * y + x % 10);
    }
  }
  const LumaWindow window(gray, {14, 9}, 3);
  CHECK(window.side_px() == 7);
  CHECK(window.row(0)[0] == 61.0F);   // (11, 6)
  CHECK(window.row(6)[6] == 127.0F);  // (17, 12)
  // Rec. ITU-R BT.601: 0.114 blue + 0.587 green + 0.299 red; in 256ths, so to half a count.
  const cv::Mat colour(9, 9, CV_8UC3, cv::Scalar(40, 90, 250));
  CHECK(LumaWindow(colour, {4, 4}, 2).row(1)[1] == within_abs(132.14, 0.5));
}

TEST_CASE("a patch is found where its texture went, wherever between the pixels") {
  const TexturePatch patch(reference_texture(), {50, 50});
  CHECK(patch.centre() == kMiddle);
  for (const View& view : {View{}, View{0.3, -0.4}, View{-1.5, 0.5}, View{2.2, 1.1}}) {
    CAPTURE(view.shift_x_px);
    const auto match = patch.find(picture(view), kMiddle);
    REQUIRE(match);
    CHECK(match->place.x_px == within_abs(50.0 + view.shift_x_px, kRounding_px));
    CHECK(match->place.y_px == within_abs(50.0 + view.shift_y_px, kRounding_px));
    CHECK(match->correlation > 0.99);
    CHECK(match->correlation <= 1.0 + 1e-5);  // single precision
  }
}

TEST_CASE("it is looked for where it is expected, not where it was") {
  const TexturePatch patch(reference_texture(), {50, 50});
  const View view{-9.3, 7.8};
  CHECK_FALSE(patch.find(picture(view), kMiddle));
  const auto match = patch.find(picture(view), {40.0, 58.5});
  REQUIRE(match);
  CHECK(match->place.x_px == within_abs(40.7, kRounding_px));
  CHECK(match->place.y_px == within_abs(57.8, kRounding_px));
}

TEST_CASE("lamp and exposure do not displace it") {
  const TexturePatch patch(reference_texture(), {50, 50});
  for (const auto& exposure : {std::pair{0.5, 10.0}, {1.25, -20.0}, {0.8, 0.0}}) {
    const double gain = exposure.first;
    const double offset = exposure.second;
    CAPTURE(gain);
    const auto match = patch.find(
        picture({.shift_x_px = 0.7, .shift_y_px = -0.6, .gain = gain, .offset = offset}), kMiddle);
    REQUIRE(match);
    // Half of the gain, twice the rounding.
    CHECK(match->place.x_px == within_abs(50.7, 2.0 * kRounding_px));
    CHECK(match->place.y_px == within_abs(49.4, 2.0 * kRounding_px));
  }
}

TEST_CASE("a patch that expects its surroundings turned is found at its own place") {
  const double turn_rad = 0.08;
  const View view{.shift_x_px = 0.6, .shift_y_px = 0.3, .turn_rad = turn_rad};
  Eigen::Matrix2d turn;
  turn << std::cos(turn_rad), -std::sin(turn_rad), std::sin(turn_rad), std::cos(turn_rad);
  const TexturePatch patch(reference_texture(), {50, 50}, turn);
  const auto match = patch.find(picture(view), kMiddle);
  REQUIRE(match);
  CHECK(match->place.x_px == within_abs(50.6, 2.0 * kRounding_px));
  CHECK(match->place.y_px == within_abs(50.3, 2.0 * kRounding_px));
  CHECK(match->correlation > 0.99);
}

TEST_CASE("the stated uncertainty of a patch is the scatter over pictures with other noise") {
  constexpr double kNoise_dn = 4.0;
  const TexturePatch patch(reference_texture(), {50, 50});
  double squares_x = 0.0;
  double squares_y = 0.0;
  constexpr int kPictures = 120;
  for (int k = 0; k < kPictures; ++k) {
    const auto match = patch.find(
        picture({.noise_dn = kNoise_dn, .seed = static_cast<std::uint64_t>(k + 10)}), kMiddle);
    REQUIRE(match);
    squares_x += std::pow(match->place.x_px - 50.0, 2);
    squares_y += std::pow(match->place.y_px - 50.0, 2);
  }
  const double worse_px = std::sqrt(std::max(squares_x, squares_y) / kPictures);
  // A scatter of 120 values is known to 6 %, the larger of two to be a little larger.
  CHECK(worse_px / (kNoise_dn * patch.u_px_per_count()) == within_abs(1.0, 0.25));
}

TEST_CASE("a wall without texture, or with stripes of one direction, gives no place") {
  const TexturePatch plain(cv::Mat(101, 101, CV_8UC1, cv::Scalar(90)), {50, 50});
  CHECK(std::isinf(plain.u_px_per_count()));
  CHECK_FALSE(plain.find(reference_texture(), kMiddle));
  cv::Mat stripes(101, 101, CV_8UC1);
  for (int x = 0; x < 101; ++x) {
    stripes.col(x) = cv::saturate_cast<std::uint8_t>(100.0 + 50.0 * std::sin(0.5 * x));
  }
  CHECK(std::isinf(TexturePatch(stripes, {50, 50}).u_px_per_count()));
}

TEST_CASE("another texture, a covered wall and the border of the picture give nothing") {
  const TexturePatch patch(reference_texture(), {50, 50});
  cv::Mat other(101, 101, CV_8UC1);
  cv::RNG random(2);
  random.fill(other, cv::RNG::UNIFORM, 0, 256);
  CHECK_FALSE(patch.find(other, kMiddle));
  CHECK_FALSE(patch.find(cv::Mat(101, 101, CV_8UC1, cv::Scalar(90)), kMiddle));
  CHECK_FALSE(patch.find(255 - reference_texture(), kMiddle));  // light and dark exchanged
  CHECK_FALSE(patch.find(reference_texture(), {TexturePatch::kMargin_px - 2.0, 50.0}));
  CHECK_FALSE(patch.find(reference_texture(), {-500.0, 50.0}));
  CHECK_FALSE(patch.glance(reference_texture(), {50.0, 99.0}));
}

TEST_CASE("a glance is good to a tenth of the way") {
  const TexturePatch patch(reference_texture(), {50, 50});
  for (const View& view : {View{}, View{0.5, -0.3}, View{-0.8, 0.9}}) {
    const auto match = patch.glance(picture(view), kMiddle);
    REQUIRE(match);
    const double away_px = std::hypot(view.shift_x_px, view.shift_y_px);
    const double off_px = std::hypot(match->place.x_px - 50.0 - view.shift_x_px,
                                     match->place.y_px - 50.0 - view.shift_y_px);
    CHECK(off_px == within_abs(0.0, 0.1 * away_px + kRounding_px));
  }
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
