#include <cmath>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/core.hpp>

#include "calibration/map/wall_map.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/calibration/usual_frame.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::kFrame;
using test::project;
using test::within_abs;

/// A ruler seen by a pinhole camera from 25 degrees aside.
cv::Matx33d ruler_view() {
  return test::pixel_from_wall_matrix({.yaw_rad = 0.436, .roll_rad = 0.1}, {1280, 720});
}

std::vector<LineReference> ticks(const std::vector<double>& numbers_mm, double u_px = 0.5) {
  std::vector<LineReference> points;
  points.reserve(numbers_mm.size());
  for (const double x_mm : numbers_mm) {
    points.push_back({.pixel = project(ruler_view(), {x_mm, 0.0}), .x_mm = x_mm, .u_px = u_px});
  }
  return points;
}

}  // namespace

TEST_SUITE_BEGIN("line fit");

TEST_CASE("two ticks give a straight proportion and a warning") {
  const std::vector<LineReference> points{{.pixel = {100.0, 200.0}, .x_mm = 10.0},
                                          {.pixel = {500.0, 500.0}, .x_mm = 110.0}};
  const MapFit fit = fit_line_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  // 500 px (3-4-5 triangle) for 100 mm; the middle is at 60 mm.
  CHECK(wall_from_pixel(fit.map, {300.0, 350.0}).x_mm == within_abs(60.0, 1e-9));
  CHECK(mm_per_px(fit.map, {300.0, 350.0}) == within_abs(0.2, 1e-12));
  // Two ends of 0.5 px each, independent: sqrt(2) 0.5 px 0.2 mm/px.
  CHECK(displacement_uncertainty_mm(fit.map, {100.0, 200.0}, {500.0, 500.0}) ==
        within_abs(std::sqrt(2.0) * 0.1, 1e-9));
  CHECK(fit.message.find("could not be checked") != std::string::npos);
  CHECK(fit.map.kind == MapKind::kLine);
}

TEST_CASE("three exact ticks show the perspective") {
  const MapFit fit = fit_line_map(ticks({0.0, 120.0, 240.0}));
  REQUIRE(fit.status == MapStatus::kFitted);
  CHECK(fit.map.parameters[2] != 0.0);
  for (const double x_mm : {30.0, 77.0, 200.0}) {
    CHECK(wall_from_pixel(fit.map, project(ruler_view(), {x_mm, 0.0})).x_mm ==
          within_abs(x_mm, 1e-8));  // exact but for rounding
  }
}

// Three unknowns, so that any three readings in order are met exactly.
TEST_CASE("three places are said to check nothing, four need no word") {
  std::vector<LineReference> points = ticks({0.0, 120.0, 240.0});
  points[1].x_mm = 130.0;
  const MapFit fit = fit_line_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  CHECK(fit.message.find("nothing checks their readings; add a fourth") != std::string::npos);
  CHECK(fit_line_map(ticks({0.0, 80.0, 160.0, 240.0})).message.empty());
}

TEST_CASE("of three places it is told how the camera must look, and refused if none can") {
  std::vector<LineReference> points{{.pixel = {339.5, 359.5}, .x_mm = 0.0},
                                    {.pixel = {639.5, 359.5}, .x_mm = 120.0},
                                    {.pixel = {939.5, 359.5}, .x_mm = 240.0}};
  CHECK(fit_line_map(points, kFrame).message.find("turned some 0 degrees") != std::string::npos);
  // With readings -1, m, 1 at -1, 0, 1 half spans c = m, so the vanishing point lies 1 / m half
  // spans from the middle: for m = 1/6 1800 px, which for a focal length of 1280 px is 35 degrees.
  points[1].x_mm = 140.0;
  const MapFit oblique = fit_line_map(points, kFrame);
  REQUIRE(oblique.status == MapStatus::kFitted);
  CHECK(oblique.message.find("turned some 35 degrees") != std::string::npos);
  // m = 11/12: 327 px, which even for a focal length of 640 px is 63 degrees.
  points[1].x_mm = 230.0;
  const MapFit impossible = fit_line_map(points, kFrame);
  CHECK(impossible.status == MapStatus::kNotAView);
  CHECK(impossible.message.find("mistyped") != std::string::npos);
}

TEST_CASE("a place far beside the line of the others is told") {
  std::vector<LineReference> points = ticks({0.0, 80.0, 160.0, 240.0});
  points[1].pixel.y_px += 100.0;
  const MapFit fit = fit_line_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  CHECK(fit.message.find("px beside the line; check whether a pixel was mistyped") !=
        std::string::npos);
}

TEST_CASE("five ticks with perspective are followed, in either direction of the numbers") {
  std::vector<LineReference> points = ticks({0.0, 50.0, 120.0, 180.0, 240.0}, 0.1);
  const MapFit forwards = fit_line_map(points);
  for (LineReference& p : points) p.x_mm = 240.0 - p.x_mm;
  const MapFit backwards = fit_line_map(points);
  REQUIRE(forwards.status == MapStatus::kFitted);
  REQUIRE(backwards.status == MapStatus::kFitted);
  const PixelPoint pixel = project(ruler_view(), {100.0, 0.0});
  CHECK(wall_from_pixel(forwards.map, pixel).x_mm == within_abs(100.0, 1e-8));
  CHECK(wall_from_pixel(backwards.map, pixel).x_mm == within_abs(140.0, 1e-8));
  CHECK(residual_rms_px(forwards.map) == within_abs(0.0, 1e-8));
  CHECK(forwards.map.degrees_of_freedom == 2);
}

TEST_CASE("perspective that is not significant stays out of the map but in its uncertainty") {
  std::vector<LineReference> points;
  for (const double x_mm : {0.0, 50.0, 100.0, 150.0, 200.0}) {
    points.push_back({.pixel = {100.0 + 4.0 * x_mm, 300.0}, .x_mm = x_mm});
  }
  points[2].pixel.x_px += 0.3;  // less than its 0.5 px
  const MapFit fit = fit_line_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  CHECK(fit.map.parameters[2] == 0.0);
  CHECK(fit.map.covariance[8] > 0.0);
  CHECK(mm_per_px(fit.map, {200.0, 300.0}) ==
        within_abs(mm_per_px(fit.map, {800.0, 300.0}), 1e-12));
}

// As for the plane: 300 fits know the width to 4 %, and 5 ticks leave 2 degrees of freedom, whose
// chi squared above 1 widens u in a third of the fits by 1.4 on average; so the width lies below 1.
TEST_CASE("the stated uncertainty of a line map covers its scatter") {
  const PixelPoint from = project(ruler_view(), {20.0, 0.0});
  const PixelPoint to = project(ruler_view(), {220.0, 0.0});
  cv::RNG random(4);
  double sum = 0.0;
  constexpr int kFits = 300;
  for (int i = 0; i < kFits; ++i) {
    std::vector<LineReference> points = ticks({0.0, 60.0, 120.0, 180.0, 240.0}, 0.3);
    for (LineReference& p : points) {
      p.pixel.x_px += random.gaussian(0.3);
      p.pixel.y_px += random.gaussian(0.3);
    }
    const MapFit fit = fit_line_map(points);
    REQUIRE(fit.status == MapStatus::kFitted);
    const double error_mm =
        wall_from_pixel(fit.map, to).x_mm - wall_from_pixel(fit.map, from).x_mm - 200.0;
    const double pull = error_mm / displacement_uncertainty_mm(fit.map, from, to);
    sum += pull * pull;
  }
  const double width = std::sqrt(sum / kFits);
  CHECK(width > 0.75);
  CHECK(width < 1.05);
}

TEST_CASE("ticks that fix no map are refused in one sentence") {
  SUBCASE("one") {
    const MapFit fit = fit_line_map(ticks({10.0}));
    CHECK(fit.status == MapStatus::kTooFewPoints);
    CHECK(fit.message ==
          "a line map needs at least 2 places on the ruler, but there is only 1; add more");
  }
  SUBCASE("none") {
    CHECK(fit_line_map({}).status == MapStatus::kTooFewPoints);
  }
  SUBCASE("the same number twice") {
    std::vector<LineReference> points = ticks({10.0, 90.0});
    points[1].x_mm = 10.0;
    CHECK(fit_line_map(points).status == MapStatus::kDegenerate);
  }
  SUBCASE("the same pixel twice") {
    std::vector<LineReference> points = ticks({10.0, 90.0});
    points[1].pixel = points[0].pixel;
    CHECK(fit_line_map(points).status == MapStatus::kDegenerate);
  }
  SUBCASE("two numbers swapped") {
    std::vector<LineReference> points = ticks({0.0, 80.0, 160.0, 240.0});
    std::swap(points[1].x_mm, points[2].x_mm);
    const MapFit fit = fit_line_map(points);
    CHECK(fit.status == MapStatus::kNotAView);
    CHECK(fit.message.find("swapped") != std::string::npos);
  }
}

TEST_CASE("a mistyped number is noticed") {
  std::vector<LineReference> points = ticks({0.0, 60.0, 120.0, 180.0, 240.0});
  points[3].x_mm = 190.0;  // 10 mm = 30 px, where 0.5 px are stated
  const MapFit fit = fit_line_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  CHECK(fit.map.reduced_chi2 > 9.0);
  CHECK(fit.message.find("mistyped") != std::string::npos);
}

TEST_CASE("a tick without uncertainty is the caller's bug") {
  std::vector<LineReference> points = ticks({0.0, 60.0});
  points[0].u_px = -1.0;
  CHECK_THROWS_AS((void)fit_line_map(points), std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
