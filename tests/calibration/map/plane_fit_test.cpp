#include <cmath>
#include <limits>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/calib3d.hpp>

#include "calibration/map/wall_map.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::project;
using test::within_abs;

/// A view 25 degrees from the side and 15 from above: the truth is a pinhole camera, whose
/// homography is a closed form (Hartley, Zisserman: Multiple View Geometry, 2nd ed. 2004,
/// section 8.1.1).
cv::Matx33d oblique_view() {
  return test::pixel_from_wall_matrix({.yaw_rad = 0.436, .pitch_rad = -0.262, .roll_rad = 0.05},
                                      {1280, 720});
}

/// Twelve squares of four corners, as the printed scale has them, exactly projected.
std::vector<ReferencePoint> exact_points(const cv::Matx33d& view, double u_px) {
  std::vector<ReferencePoint> points;
  for (int marker = 0; marker < 12; ++marker) {
    const int column = marker / 2;
    const double x_mm = 20.0 + 40.0 * column;
    const double y_mm = marker % 2 == 0 ? -30.0 : 80.0;
    for (const WallPoint wall : {WallPoint{x_mm - 12.0, y_mm + 12.0},
                                 WallPoint{x_mm + 12.0, y_mm + 12.0},
                                 WallPoint{x_mm + 12.0, y_mm - 12.0},
                                 WallPoint{x_mm - 12.0, y_mm - 12.0}}) {
      points.push_back(
          {.pixel = project(view, wall), .wall = wall, .u_px = u_px, .marker = marker});
    }
  }
  return points;
}

/// Points of no marker, whose errors have nothing in common.
std::vector<ReferencePoint> noisy_points(const cv::Matx33d& view,
                                         double stated_px,
                                         double true_px,
                                         cv::RNG& random) {
  std::vector<ReferencePoint> points = exact_points(view, stated_px);
  for (ReferencePoint& p : points) {
    p.marker = kNoMarker;
    p.pixel.x_px += random.gaussian(true_px);
    p.pixel.y_px += random.gaussian(true_px);
  }
  return points;
}

/// Width (root mean square) of (fitted - true) / u of the displacement from x = 30 to 210 mm in the
/// lane, over seeded noisy fits.
double pull_width(int fits, double stated_px, double true_px) {
  const cv::Matx33d view = oblique_view();
  const PixelPoint from = project(view, {30.0, 30.0});
  const PixelPoint to = project(view, {210.0, 30.0});
  cv::RNG random(20240611);
  double sum = 0.0;
  for (int i = 0; i < fits; ++i) {
    const MapFit fit = fit_plane_map(noisy_points(view, stated_px, true_px, random));
    REQUIRE(fit.status == MapStatus::kFitted);
    const WallPoint a = wall_from_pixel(fit.map, from);
    const WallPoint b = wall_from_pixel(fit.map, to);
    const double error_mm = std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm) - 180.0;
    const double pull = error_mm / displacement_uncertainty_mm(fit.map, from, to);
    sum += pull * pull;
  }
  return std::sqrt(sum / fits);
}

}  // namespace

TEST_SUITE_BEGIN("plane fit");

TEST_CASE("exact points give back the exact homography") {
  const cv::Matx33d view = oblique_view();
  const MapFit fit = fit_plane_map(exact_points(view, 0.5), {1280, 720});
  REQUIRE(fit.status == MapStatus::kFitted);
  for (const WallPoint wall :
       {WallPoint{0.0, 0.0}, WallPoint{240.0, 95.0}, WallPoint{120.0, 30.0}}) {
    const WallPoint mapped = wall_from_pixel(fit.map, project(view, wall));
    CHECK(mapped.x_mm == within_abs(wall.x_mm, 1e-9));  // rounding of 1e3 px in 16 digits is 1e-13
    CHECK(mapped.y_mm == within_abs(wall.y_mm, 1e-9));
  }
  CHECK(residual_rms_px(fit.map) == within_abs(0.0, 1e-9));
  CHECK(fit.map.degrees_of_freedom == 2 * 48 - 8);
  CHECK(fit.map.frame == FrameSize{1280, 720});
  CHECK(fit.message.empty());
}

TEST_CASE("the fit agrees with an independent implementation") {
  // cv::findHomography minimises the same distances (least squares, all points), but works on
  // single precision numbers, so both get the same rounded ones. Its own search ends near 1e-8 px.
  cv::RNG random(7);
  std::vector<ReferencePoint> points = noisy_points(oblique_view(), 0.3, 0.1, random);
  std::vector<cv::Point2f> walls;
  std::vector<cv::Point2f> pixels;
  for (ReferencePoint& p : points) {
    walls.emplace_back(static_cast<float>(p.wall.x_mm), static_cast<float>(p.wall.y_mm));
    pixels.emplace_back(static_cast<float>(p.pixel.x_px), static_cast<float>(p.pixel.y_px));
    p.pixel = {static_cast<double>(pixels.back().x), static_cast<double>(pixels.back().y)};
  }
  const MapFit fit = fit_plane_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  const cv::Matx33d reference = cv::findHomography(walls, pixels, 0);
  for (const ReferencePoint& p : points) {
    const PixelPoint expected = project(reference, p.wall);
    const PixelPoint fitted = pixel_from_wall(fit.map, p.wall);
    CHECK(fitted.x_px == within_abs(expected.x_px, 1e-6));
    CHECK(fitted.y_px == within_abs(expected.y_px, 1e-6));
  }
}

// If u is right, error over u has a standard deviation of 1. Over 300 fits that width scatters by
// 1 / sqrt(600) = 4 %; 0.1 is 2.5 times that. The rule that u grows with the reduced chi squared
// above 1 but does not shrink below it takes 1 to 2 % off the width.
TEST_CASE("the stated uncertainty of a displacement is its true scatter") {
  CHECK(pull_width(300, 0.3, 0.3) == within_abs(1.0, 0.1));
}

TEST_CASE("points that scatter more than stated raise the uncertainty") {
  // Twice the stated scatter: reduced chi squared 4 makes up for it. Residuals beyond 3 stated
  // uncertainties are common here and count less, so that a little is missing: 0.2 instead of 0.1.
  CHECK(pull_width(150, 0.15, 0.3) == within_abs(1.0, 0.2));
}

TEST_CASE("one gross error does not carry the map away") {
  const cv::Matx33d view = oblique_view();
  std::vector<ReferencePoint> points = exact_points(view, 0.1);
  points[20].pixel.x_px += 25.0;
  const MapFit fit = fit_plane_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  const WallPoint middle = wall_from_pixel(fit.map, project(view, {120.0, 30.0}));
  // The robust loss pulls like a residual of 3 u = 0.3 px shared by 48 points: below 0.05 px =
  // 0.015 mm.
  CHECK(middle.x_mm == within_abs(120.0, 0.015));
  CHECK(std::abs(fit.map.references[20].residual_x_px) > 24.0);
  CHECK(fit.map.reduced_chi2 > 1.0);
}

TEST_CASE("a scale far from its origin fits as well") {
  const cv::Matx33d view = oblique_view();
  std::vector<ReferencePoint> near = exact_points(view, 0.5);
  std::vector<ReferencePoint> far = near;
  for (ReferencePoint& p : far) p.wall.x_mm += 1.0e4;
  const WallMap near_map = fit_plane_map(near).map;
  const MapFit far_fit = fit_plane_map(far);
  REQUIRE(far_fit.status == MapStatus::kFitted);
  const PixelPoint from = project(view, {30.0, 30.0});
  const PixelPoint to = project(view, {210.0, 30.0});
  // Where the scale has its zero cannot matter to a displacement.
  CHECK(displacement_uncertainty_mm(far_fit.map, from, to) ==
        test::within_rel(displacement_uncertainty_mm(near_map, from, to), 1e-6));
}

TEST_CASE("four points fit, and the note says that nothing checks them") {
  const cv::Matx33d view = oblique_view();
  std::vector<ReferencePoint> points;
  for (const WallPoint wall :
       {WallPoint{0, 0}, WallPoint{200, 0}, WallPoint{200, 80}, WallPoint{0, 80}}) {
    points.push_back({.pixel = project(view, wall), .wall = wall});
  }
  const MapFit fit = fit_plane_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  CHECK(fit.map.degrees_of_freedom == 0);
  CHECK(fit.message == "four points fit any plane, so nothing checks the map; add a fifth point");
}

// The quadrilateral of a plan seen by no camera: whether a real one can have seen it follows from
// the orthonormality of its axes (Z. Zhang, IEEE Trans. PAMI 22 (2000) 1330, equations (3), (4)).
TEST_CASE("one mistyped coordinate of four is refused or told") {
  const cv::Matx33d view = oblique_view();
  const std::vector<WallPoint> places{{0, 0}, {240, 0}, {240, 80}, {0, 80}};
  const auto fit_of = [&](std::size_t which, WallPoint typed) {
    std::vector<ReferencePoint> points;
    for (const WallPoint wall : places) {
      points.push_back({.pixel = project(view, wall), .wall = wall});
    }
    points[which].wall = typed;
    return fit_plane_map(points, {1280, 720});
  };
  SUBCASE("none: no other word than ever") {
    const MapFit fit = fit_of(1, places[1]);
    REQUIRE(fit.status == MapStatus::kFitted);
    CHECK(fit.message == "four points fit any plane, so nothing checks the map; add a fifth point");
  }
  SUBCASE("24 for 240") {
    for (const std::size_t which : {std::size_t{1}, std::size_t{2}}) {
      const MapFit fit = fit_of(which, {24.0, places[which].y_mm});
      INFO(which);
      CHECK(fit.status == MapStatus::kNotAView);
      CHECK(fit.message.find("mistyped") != std::string::npos);
    }
  }
  SUBCASE("800 for 80") {
    CHECK(fit_of(3, {0.0, 800.0}).status == MapStatus::kNotAView);
  }
  SUBCASE("200 for 240") {
    const MapFit fit = fit_of(2, {200.0, 80.0});
    const bool refused = fit.status == MapStatus::kNotAView;
    CHECK((refused || fit.message.find("mistyped") != std::string::npos));
  }
}

TEST_CASE("points that do not fix a plane are refused in one sentence") {
  const cv::Matx33d view = oblique_view();
  const auto status_of = [&view](const std::vector<WallPoint>& walls) {
    std::vector<ReferencePoint> points;
    points.reserve(walls.size());
    for (const WallPoint wall : walls)
      points.push_back({.pixel = project(view, wall), .wall = wall});
    return fit_plane_map(points);
  };
  SUBCASE("none or three") {
    CHECK(status_of({}).status == MapStatus::kTooFewPoints);
    const MapFit fit = status_of({{0, 0}, {100, 0}, {0, 50}});
    CHECK(fit.status == MapStatus::kTooFewPoints);
    CHECK(fit.message ==
          "a map of the wall needs at least 4 reference points, but there are only 3; add more");
  }
  SUBCASE("all on one line") {
    const MapFit fit = status_of({{0, 0}, {50, 0}, {100, 0}, {150, 0}, {200, 0}});
    CHECK(fit.status == MapStatus::kDegenerate);
    CHECK(fit.message.find("on one line") != std::string::npos);
  }
  SUBCASE("all but one on one line") {
    CHECK(status_of({{0, 0}, {50, 0}, {100, 0}, {150, 0}, {70, 60}}).status ==
          MapStatus::kDegenerate);
    CHECK(status_of({{70, 60}, {0, 0}, {50, 0}, {200, 0}}).status == MapStatus::kDegenerate);
  }
  SUBCASE("three places, one of them twice") {
    CHECK(status_of({{0, 0}, {100, 0}, {0, 50}, {0, 50}}).status == MapStatus::kDegenerate);
  }
  SUBCASE("all in one place") {
    CHECK(status_of({{9, 9}, {9, 9}, {9, 9}, {9, 9}}).status == MapStatus::kDegenerate);
  }
}

TEST_CASE("two points swapped are not a view of a wall") {
  const cv::Matx33d view = oblique_view();
  std::vector<ReferencePoint> points;
  for (const WallPoint wall :
       {WallPoint{0, 0}, WallPoint{200, 0}, WallPoint{200, 80}, WallPoint{0, 80}}) {
    points.push_back({.pixel = project(view, wall), .wall = wall});
  }
  std::swap(points[0].pixel, points[1].pixel);  // the sides of the quadrilateral now cross
  const MapFit fit = fit_plane_map(points);
  CHECK(fit.status == MapStatus::kNotAView);
  CHECK(fit.message.find("swapped") != std::string::npos);
}

TEST_CASE("numbers that cannot be reference points are the caller's bug") {
  std::vector<ReferencePoint> points = exact_points(oblique_view(), 0.5);
  SUBCASE("no uncertainty") {
    points[3].u_px = 0.0;
  }
  SUBCASE("not a number") {
    points[3].pixel.x_px = std::numeric_limits<double>::quiet_NaN();
  }
  CHECK_THROWS_AS((void)fit_plane_map(points), std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
