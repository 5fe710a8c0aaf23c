#include "calibration/map/standing_off.h"

#include <cmath>
#include <vector>

#include <doctest/doctest.h>

#include "calibration/map/map_quality.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

/// Two sheets of three columns and two rows of places, the second 120 mm to the right.
std::vector<ReferencePoint> places(const test::CameraPose& pose) {
  std::vector<ReferencePoint> points;
  for (int column = 0; column < 6; ++column) {
    for (const double y_mm : {-30.0, 80.0}) {
      for (const double x_mm : {40.0 * column + 10.0, 40.0 * column + 30.0}) {
        const cv::Matx33d view = test::pixel_from_wall_matrix(pose, {1280, 720});
        points.push_back({.pixel = test::project(view, {x_mm, y_mm}),
                          .wall = {x_mm, y_mm},
                          .u_px = 0.05,
                          .page = column < 3 ? 1 : 2});
      }
    }
  }
  return points;
}

WallMap map_of(const test::CameraPose& pose) {
  return fit_plane_map(places(pose), {1280, 720}).map;
}

/// Where a camera sees what stands off the wall by height_mm (similar triangles).
PixelPoint seen(const test::CameraPose& pose, WallPoint place, double height_mm) {
  const cv::Vec3d eye = test::eye_of(pose);
  const double beyond = height_mm / (eye[2] - height_mm);
  const WallPoint behind{place.x_mm + beyond * (place.x_mm - eye[0]),
                         place.y_mm + beyond * (place.y_mm - eye[1])};
  return test::project(test::pixel_from_wall_matrix(pose, {1280, 720}), behind);
}

double distance_mm(const WallMap& map, PixelPoint from, PixelPoint to) {
  const WallPoint a = wall_from_pixel(map, from);
  const WallPoint b = wall_from_pixel(map, to);
  return std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm);
}

}  // namespace

TEST_SUITE_BEGIN("standing_off");

TEST_CASE("what stands off is displaced by its height over the camera's distance") {
  // A camera of 0.9 widths of the picture, which the gradient takes every one to be.
  const test::CameraPose pose{
      .yaw_rad = 0.4, .pitch_rad = -0.2, .distance_mm = 400.0, .focal_px = 1152.0};
  const WallMap map = map_of(pose);
  const WallPoint from{40.0, 30.0};
  const WallPoint to{180.0, 30.0};
  const PixelPoint start = seen(pose, from, 0.0);
  const PixelPoint end = seen(pose, to, 0.0);
  const Eigen::VectorXd gradient = height_gradient(map, start, end);
  REQUIRE(gradient.size() == 1);
  constexpr double kHeight_mm = 0.01;
  const double change_mm =
      distance_mm(map, start, seen(pose, to, kHeight_mm)) - distance_mm(map, start, end);
  CHECK(gradient[0] == test::within_rel(change_mm / kHeight_mm, 1e-3));
}

TEST_CASE("with another focal length the displacement is right to a third") {
  const auto displaced = [](double focal_px) {
    const test::CameraPose pose{.yaw_rad = -0.4, .distance_mm = 400.0, .focal_px = focal_px};
    const PixelPoint start = seen(pose, {40.0, 30.0}, 0.0);
    return height_gradient(map_of(pose), start, seen(pose, {180.0, 30.0}, 0.0)).sum();
  };
  const test::CameraPose pose{.yaw_rad = -0.4, .distance_mm = 400.0};
  const cv::Vec3d eye = test::eye_of(pose);
  const double expected = (180.0 - eye[0]) / eye[2];
  for (const double focal_px : {900.0, 1400.0}) {  // 70 and 50 degrees across
    CHECK(displaced(focal_px) == test::within_rel(expected, 0.3));
  }
}

TEST_CASE("the first sheet is the wall, and one sheet has no heights") {
  const test::CameraPose pose{.yaw_rad = 0.4};
  const PixelPoint start = seen(pose, {20.0, 30.0}, 0.0);
  const PixelPoint end = seen(pose, {100.0, 30.0}, 0.0);
  const Eigen::VectorXd gradient = height_gradient(map_of(pose), start, end);
  REQUIRE(gradient.size() == 1);
  CHECK(gradient.norm() == 0.0);
  std::vector<ReferencePoint> one_sheet = places(pose);
  for (ReferencePoint& point : one_sheet) point.page = 1;
  CHECK(height_gradient(fit_plane_map(one_sheet, {1280, 720}).map, start, end).size() == 0);
}

TEST_CASE("a ruler is in doubt by its height over the camera's distance") {
  // 0.5 mm a pixel seen by a camera of 0.9 x 1280 px: 576 mm away.
  const std::vector<LineReference> ticks{{.pixel = {240.0, 360.0}, .x_mm = 0.0},
                                         {.pixel = {640.0, 360.0}, .x_mm = 200.0}};
  const WallMap map = fit_line_map(ticks, {1280, 720}).map;
  CHECK(ruler_height_relative(map, {400.0, 360.0}) == test::within_rel(1.0 / 576.0, 1e-9));
  CHECK(ruler_height_relative(map_of({}), {400.0, 360.0}) == 0.0);
  const PixelPoint a{300.0, 360.0};
  const PixelPoint b{500.0, 360.0};
  const PathUncertainty u = path_uncertainty(map, {250.0, 360.0}, {600.0, 360.0}, a, b);
  const double ticks_u = displacement_uncertainty_mm(map, a, b) / u.shift_mm;
  CHECK(u.shift_relative_u == test::within_rel(std::hypot(ticks_u, 1.0 / 576.0), 1e-9));
  CHECK(u.nonlinearity_relative_u == test::within_abs(0.0, 1e-9));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
