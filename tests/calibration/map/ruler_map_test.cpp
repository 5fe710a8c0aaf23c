#include "calibration/map/ruler_map.h"

#include <cmath>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/core.hpp>

#include "tests/calibration/ruler/rendered_ruler.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/calibration/usual_frame.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::kFrame;

test::RulerCamera camera(double yaw_rad, double pitch_rad, double k1) {
  test::RulerCamera result;
  result.pixel_from_wall = test::pixel_from_wall_matrix(
      {.yaw_rad = yaw_rad, .pitch_rad = pitch_rad, .roll_rad = 0.1, .aim = {120.0, 10.0}},
      result.size);
  result.k1 = k1;
  return result;
}

/// Two points on each tick of a 250 mm ruler, moved across the ticks by noise.
std::vector<TickPoint> tick_points(const test::RulerCamera& view,
                                   double noise_px,
                                   cv::RNG& random) {
  std::vector<TickPoint> points;
  for (int tick = 0; tick <= 250; ++tick) {
    for (const double y_mm : {-0.8, -3.2}) {
      PixelPoint pixel = test::project(view, {static_cast<double>(tick), y_mm});
      const PixelPoint next = test::project(view, {tick + 1.0, y_mm});
      const double length_px = std::hypot(next.x_px - pixel.x_px, next.y_px - pixel.y_px);
      const double shift = random.gaussian(noise_px) / length_px;
      pixel.x_px += shift * (next.x_px - pixel.x_px);
      pixel.y_px += shift * (next.y_px - pixel.y_px);
      points.push_back({.pixel = pixel,
                        .x_mm = static_cast<double>(tick),
                        .u_px = noise_px > 0.0 ? noise_px : 0.01});
    }
  }
  return points;
}

double x_mm(const MapFit& fit, const test::RulerCamera& view, WallPoint wall) {
  return wall_from_pixel(fit.map, test::project(view, wall)).x_mm;
}

}  // namespace

TEST_SUITE_BEGIN("ruler_map");

// The truth is a pinhole camera's homography, of which the map has the first and third row; without
// noise only rounding is left (1e-8 of 250 mm).
TEST_CASE("exact ticks give the exact place, also far above and below the ruler") {
  cv::RNG random(1);
  const test::RulerCamera view = camera(0.6, -0.4, 0.0);
  const MapFit fit = fit_ruler_map(tick_points(view, 0.0, random), kFrame);
  REQUIRE(fit.status == MapStatus::kFitted);
  for (const double y_mm : {-40.0, 0.0, 20.0, 60.0}) {
    for (const double place_mm : {-20.0, 3.3, 125.0, 260.0}) {
      CHECK(x_mm(fit, view, {place_mm, y_mm}) == test::within_abs(place_mm, 3e-6));
    }
  }
  CHECK_FALSE(extrapolates(fit.map, test::project(view, {3.3, 20.0})));
  CHECK(extrapolates(fit.map, test::project(view, {-20.0, 20.0})));
}

// The renderer's lens is the inverse polynomial of the map's, so that the first terms agree to
// first order. The tolerances of the places are a hundredth of what the lens moves them by.
TEST_CASE("a bending lens is found in the ticks") {
  cv::RNG random(1);
  const test::RulerCamera view = camera(0.3, 0.2, -0.03);
  const MapFit fit = fit_ruler_map(tick_points(view, 0.0, random), kFrame);
  REQUIRE(fit.status == MapStatus::kFitted);
  // k1 counts r in focal lengths, k in half diagonals: k = -k1 (734 / 1100)^2 to first order.
  CHECK(fit.map.distortion.front() == test::within_abs(0.03 * 0.445, 0.002));
  CHECK(x_mm(fit, view, {60.0, 0.0}) == test::within_abs(60.0, 0.005));
  CHECK(x_mm(fit, view, {200.0, 20.0}) == test::within_abs(200.0, 0.03));
}

// The lens of a usual cheap camera, -0.18 in focal lengths = 8 % in half diagonals, whose inverse
// has higher terms than k1; two thirds of the ruler are read and its path goes on by 110 mm. What
// the lens bends there stays unknown within what the map says. 60 draws: the width of the pull
// scatters by 1 / sqrt(120) = 9 %; what is known of lenses beforehand narrows it, so that only the
// upper bound, at three times that, is asked.
TEST_CASE("beyond the end of a ruler under a bending lens the map is as uncertain as it says") {
  cv::RNG random(11);
  double squares = 0.0;
  constexpr int kDraws = 60;
  for (int i = 0; i < kDraws; ++i) {
    const test::RulerCamera view = camera(0.4, 0.4, -0.18);
    std::vector<TickPoint> points = tick_points(view, 0.1, random);
    std::erase_if(points, [](const TickPoint& p) { return p.x_mm < 110.0; });
    const MapFit fit = fit_ruler_map(points, kFrame);
    REQUIRE(fit.status == MapStatus::kFitted);
    const PixelPoint from = test::project(view, {10.0, 5.0});
    const PixelPoint to = test::project(view, {240.0, 5.0});
    const double error_mm =
        wall_from_pixel(fit.map, to).x_mm - wall_from_pixel(fit.map, from).x_mm - 230.0;
    const double pull = error_mm / displacement_uncertainty_mm(fit.map, from, to);
    squares += pull * pull / kDraws;
  }
  CHECK(std::sqrt(squares) < 1.27);
}

// Closed form: central differences of the map itself, exact to the square of the step.
TEST_CASE("the jacobian and the uncertainties are derivatives of the map") {
  cv::RNG random(1);
  const test::RulerCamera view = camera(0.5, -0.3, 0.02);
  const WallMap map = fit_ruler_map(tick_points(view, 0.05, random), kFrame).map;
  const PixelPoint at{700.0, 300.0};
  const auto place_mm = [&](double dx_px, double dy_px) {
    return wall_from_pixel(map, {at.x_px + dx_px, at.y_px + dy_px}).x_mm;
  };
  constexpr double kStep_px = 1e-3;
  const Eigen::RowVector2d row = jacobian(map, at).row(0);
  CHECK(row[0] ==
        test::within_abs((place_mm(kStep_px, 0.0) - place_mm(-kStep_px, 0.0)) / (2.0 * kStep_px),
                         1e-7));
  CHECK(row[1] ==
        test::within_abs((place_mm(0.0, kStep_px) - place_mm(0.0, -kStep_px)) / (2.0 * kStep_px),
                         1e-7));
  CHECK(mm_per_px(map, at) == test::within_rel(row.norm(), 1e-12));

  double variance_mm2 = 0.0;
  constexpr std::size_t kCount = 8;  // five parameters and three terms of the lens
  REQUIRE(map.covariance.size() == kCount * kCount);
  std::array<double, kCount> gradient{};
  for (std::size_t i = 0; i < kCount; ++i) {
    WallMap more = map;
    WallMap less = map;
    const auto number = [i](WallMap& m) -> double& {
      return i < 5 ? m.parameters[i] : m.distortion[i - 5];
    };
    const double step = 1e-5 * std::max(1e-3, std::abs(number(more)));
    number(more) += step;
    number(less) -= step;
    gradient[i] = (wall_from_pixel(more, at).x_mm - wall_from_pixel(less, at).x_mm) / (2.0 * step);
  }
  for (std::size_t i = 0; i < kCount * kCount; ++i) {
    variance_mm2 += gradient[i / kCount] * gradient[i % kCount] * map.covariance[i];
  }
  CHECK(map_covariance_mm2(map, at)(0, 0) == test::within_rel(variance_mm2, 1e-4));
  CHECK(displacement_uncertainty_mm(map, at, at) == test::within_abs(0.0, 1e-12));
  const PixelPoint other{200.0, 320.0};
  CHECK(displacement_uncertainty_mm(map, at, other) ==
        test::within_rel(displacement_uncertainty_mm(map, other, at), 1e-9));
}

// 200 draws of noise: the width of the pull scatters by 1 / sqrt(400) = 5 %; 0.85 to 1.15 is three
// times that.
TEST_CASE("the stated uncertainty is what repeated measuring scatters, on and off the ruler") {
  cv::RNG random(7);
  const test::RulerCamera view = camera(0.5, 0.3, 0.0);
  double on_ruler = 0.0;
  double above = 0.0;
  constexpr int kDraws = 200;
  for (int i = 0; i < kDraws; ++i) {
    const MapFit fit = fit_ruler_map(tick_points(view, 0.05, random), kFrame);
    REQUIRE(fit.status == MapStatus::kFitted);
    for (const double y_mm : {0.0, 40.0}) {
      const PixelPoint from = test::project(view, {50.0, y_mm});
      const PixelPoint to = test::project(view, {200.0, y_mm});
      const double error_mm =
          wall_from_pixel(fit.map, to).x_mm - wall_from_pixel(fit.map, from).x_mm - 150.0;
      const double pull = error_mm / displacement_uncertainty_mm(fit.map, from, to);
      (y_mm > 0.0 ? above : on_ruler) += pull * pull / kDraws;
    }
  }
  CHECK(std::sqrt(on_ruler) > 0.85);
  CHECK(std::sqrt(on_ruler) < 1.15);
  CHECK(std::sqrt(above) > 0.85);
  CHECK(std::sqrt(above) < 1.15);
}

TEST_CASE(
    "ticks that are disturbed more in tilt than in place make the map as uncertain as it says") {
  cv::RNG random(11);
  const test::RulerCamera view = camera(0.5, 0.3, 0.0);
  double above = 0.0;
  constexpr int kDraws = 200;
  for (int i = 0; i < kDraws; ++i) {
    // Half of the scatter at both points opposite: the place scatters as stated, the tilt sqrt(3)
    // times more.
    std::vector<TickPoint> points = tick_points(view, 0.05, random);
    for (std::size_t k = 0; k < points.size(); k += 2) {
      const double shift_px = random.gaussian(0.05);
      points[k].pixel.x_px += shift_px;
      points[k + 1].pixel.x_px -= shift_px;
    }
    const MapFit fit = fit_ruler_map(points, kFrame);
    REQUIRE(fit.status == MapStatus::kFitted);
    const PixelPoint from = test::project(view, {50.0, 40.0});
    const PixelPoint to = test::project(view, {200.0, 40.0});
    const double error_mm =
        wall_from_pixel(fit.map, to).x_mm - wall_from_pixel(fit.map, from).x_mm - 150.0;
    above += std::pow(error_mm / displacement_uncertainty_mm(fit.map, from, to), 2) / kDraws;
  }
  // 200 draws know a width of 1 to 0.05; one scatter for both would make it 1.22.
  CHECK(std::sqrt(above) > 0.85);
  CHECK(std::sqrt(above) < 1.12);
}

TEST_CASE("a misplaced tick does not pull the rest") {
  cv::RNG random(3);
  const test::RulerCamera view = camera(0.2, 0.2, 0.0);
  std::vector<TickPoint> points = tick_points(view, 0.02, random);
  points[100].pixel.x_px += 3.0;
  points[101].pixel.x_px += 3.0;
  const MapFit fit = fit_ruler_map(points, kFrame);
  // Two of 502 points at the bend of 3 u_px weigh as 3 * 2 / 502 = 0.012 u_px = 0.1 um of 0.3
  // mm/px.
  CHECK(x_mm(fit, view, {50.0, 0.0}) == test::within_abs(50.0, 0.005));
}

TEST_CASE("what fixes no map is refused") {
  cv::RNG random(3);
  std::vector<TickPoint> points = tick_points(camera(0.2, 0.2, 0.0), 0.02, random);
  SUBCASE("three ticks") {
    points.resize(6);
    const MapFit fit = fit_ruler_map(points, kFrame);
    CHECK(fit.status == MapStatus::kTooFewPoints);
    CHECK(fit.message.find("only 3; bring more of the ruler into view") != std::string::npos);
  }
  SUBCASE("no frame") {
    CHECK_THROWS_AS((void)fit_ruler_map(points, {}), std::invalid_argument);
  }
  SUBCASE("an uncertainty of zero") {
    points[3].u_px = 0.0;
    CHECK_THROWS_AS((void)fit_ruler_map(points, kFrame), std::invalid_argument);
  }
  SUBCASE("a number that is none") {
    points[3].pixel.x_px = std::nan("");
    CHECK_THROWS_AS((void)fit_ruler_map(points, kFrame), std::invalid_argument);
  }
}

// Seen from the side by 1.1 rad the wall ends at its horizon, at 1 / tan(1.1) focal lengths from
// the middle = 560 px, so within a wide picture.
TEST_CASE("a pixel beyond the horizon of the wall has no place") {
  cv::RNG random(3);
  const test::RulerCamera view = camera(1.1, 0.0, 0.0);
  const MapFit fit = fit_ruler_map(tick_points(view, 0.0, random), kFrame);
  REQUIRE(fit.status == MapStatus::kFitted);
  const bool left = beyond_horizon(fit.map, {-200.0, 360.0});
  const bool right = beyond_horizon(fit.map, {1480.0, 360.0});
  CHECK(left != right);
  CHECK_THROWS_AS((void)wall_from_pixel(fit.map, {left ? -200.0 : 1480.0, 360.0}),
                  std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
