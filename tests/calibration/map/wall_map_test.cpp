#include "calibration/map/wall_map.h"

#include <cmath>
#include <sstream>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>

#include "tests/calibration/map/map_differences.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::project;
using test::within_abs;
using test::within_rel;

cv::Matx33d turned_view() {
  return test::pixel_from_wall_matrix({.yaw_rad = -0.35, .pitch_rad = 0.2, .roll_rad = 0.1},
                                      {1280, 720});
}

WallMap plane_map() {
  std::vector<ReferencePoint> points;
  for (const double x_mm : {0.0, 80.0, 160.0, 240.0}) {
    for (const double y_mm : {-40.0, 90.0}) {
      points.push_back({.pixel = project(turned_view(), {x_mm, y_mm}), .wall = {x_mm, y_mm}});
    }
  }
  return fit_plane_map(points, {1280, 720}).map;
}

WallMap line_map() {
  std::vector<LineReference> points;
  for (const double x_mm : {0.0, 60.0, 120.0, 180.0, 240.0}) {
    points.push_back({.pixel = project(turned_view(), {x_mm, 0.0}), .x_mm = x_mm, .u_px = 0.1});
  }
  return fit_line_map(points, {1280, 720}).map;
}

std::string digits(double value) {
  std::ostringstream out;
  out.precision(17);  // enough to give back every double (IEEE 754)
  out << value;
  return out.str();
}

}  // namespace

TEST_SUITE_BEGIN("wall_map");

TEST_CASE("from the wall to the picture and back is where one was") {
  const WallMap plane = plane_map();
  const WallMap line = line_map();
  for (const double x_mm : {-20.0, 0.0, 33.3, 120.0, 260.0}) {
    const WallPoint wall{x_mm, 25.0};
    const WallPoint back = wall_from_pixel(plane, pixel_from_wall(plane, wall));
    CHECK(back.x_mm == within_abs(x_mm, 1e-9));  // rounding only
    CHECK(back.y_mm == within_abs(25.0, 1e-9));
    const WallPoint on_line = wall_from_pixel(line, pixel_from_wall(line, {x_mm, 0.0}));
    CHECK(on_line.x_mm == within_abs(x_mm, 1e-9));
    CHECK(on_line.y_mm == 0.0);
  }
}

TEST_CASE("the derivative is that of differences") {
  for (const WallMap& map : {plane_map(), line_map()}) {
    const PixelPoint pixel{500.0, 300.0};
    const Eigen::Matrix2d j = jacobian(map, pixel);
    const Eigen::Matrix2d differences = test::differences_of(map, pixel);
    CHECK(j(0, 0) == within_abs(differences(0, 0), 1e-8));
    CHECK(j(1, 0) == within_abs(differences(1, 0), 1e-8));
    CHECK(j(0, 1) == within_abs(differences(0, 1), 1e-8));
    CHECK(j(1, 1) == within_abs(differences(1, 1), 1e-8));
  }
}

TEST_CASE("the covariance of a place is that of fits to redrawn points") {
  // Monte Carlo as in JCGM 101:2008 against the linear propagation of JCGM 100:2008 (13).
  const WallMap map = plane_map();
  const PixelPoint pixel = project(turned_view(), {120.0, 30.0});
  cv::RNG random(99);
  double xx = 0.0;
  double yy = 0.0;
  constexpr int kFits = 400;
  for (int i = 0; i < kFits; ++i) {
    std::vector<ReferencePoint> points;
    for (const FittedReference& reference : map.references) {
      points.push_back(reference.point);
      points.back().pixel.x_px += random.gaussian(kHandSet_px);
      points.back().pixel.y_px += random.gaussian(kHandSet_px);
    }
    const WallPoint wall = wall_from_pixel(fit_plane_map(points).map, pixel);
    xx += (wall.x_mm - 120.0) * (wall.x_mm - 120.0) / kFits;
    yy += (wall.y_mm - 30.0) * (wall.y_mm - 30.0) / kFits;
  }
  const Eigen::Matrix2d covariance = map_covariance_mm2(map, pixel);
  // A variance from 400 draws scatters by sqrt(2 / 400) = 7 %; three times that.
  CHECK(xx == within_rel(covariance(0, 0), 0.21));
  CHECK(yy == within_rel(covariance(1, 1), 0.21));
}

TEST_CASE("a view straight on has one scale everywhere") {
  // focal length 1100 px at 330 mm: 0.3 mm per px (similar triangles).
  const cv::Matx33d view = test::pixel_from_wall_matrix({}, {1280, 720});
  std::vector<ReferencePoint> points;
  for (const WallPoint wall :
       {WallPoint{0, 0}, WallPoint{240, 0}, WallPoint{240, 80}, WallPoint{0, 80}}) {
    points.push_back({.pixel = project(view, wall), .wall = wall});
  }
  const WallMap map = fit_plane_map(points).map;
  CHECK(mm_per_px(map, {100.0, 100.0}) == within_abs(0.3, 1e-9));
  CHECK(mm_per_px(map, {1200.0, 700.0}) == within_abs(0.3, 1e-9));
  CHECK(jacobian(map, {640.0, 360.0})(0, 0) == within_abs(0.3, 1e-9));
  CHECK(jacobian(map, {640.0, 360.0})(1, 1) == within_abs(-0.3, 1e-9));  // y up against y down
}

TEST_CASE("the map says where it extrapolates") {
  const WallMap plane = plane_map();
  CHECK_FALSE(extrapolates(plane, project(turned_view(), {120.0, 30.0})));
  CHECK(extrapolates(plane, project(turned_view(), {250.0, 30.0})));
  CHECK(extrapolates(plane, project(turned_view(), {120.0, 100.0})));
  const WallMap line = line_map();
  CHECK_FALSE(extrapolates(line, project(turned_view(), {120.0, 0.0})));
  CHECK(extrapolates(line, project(turned_view(), {-5.0, 0.0})));
}

TEST_CASE("a displacement is known better than its ends") {
  const WallMap map = plane_map();
  const PixelPoint from = project(turned_view(), {119.0, 30.0});
  const PixelPoint to = project(turned_view(), {121.0, 30.0});
  const double end_mm = std::sqrt(map_covariance_mm2(map, from)(0, 0));
  CHECK(displacement_uncertainty_mm(map, from, to) < 0.1 * end_mm);  // 2 mm out of 240
  CHECK(displacement_uncertainty_mm(map, from, from) == 0.0);
}

TEST_CASE("the homography of the map is the one of the camera") {
  const auto rows = homography_mm_from_px(plane_map());
  const PixelPoint pixel = project(turned_view(), {77.0, 11.0});
  const auto row = [&](std::size_t i) {
    return rows[3 * i] * pixel.x_px + rows[3 * i + 1] * pixel.y_px + rows[3 * i + 2];
  };
  CHECK(row(0) / row(2) == within_abs(77.0, 1e-9));
  CHECK(row(1) / row(2) == within_abs(11.0, 1e-9));
  CHECK_THROWS_AS((void)homography_mm_from_px(line_map()), std::invalid_argument);
}

TEST_CASE("beyond the horizon there is no wall") {
  // Turned by 60 degrees, the wall's horizon stands 1100 px / tan(60) = 635 px from the middle.
  const cv::Matx33d view = test::pixel_from_wall_matrix(
      {.yaw_rad = 1.0471975511965976, .distance_mm = 600.0}, {1280, 720});
  std::vector<ReferencePoint> points;
  for (const WallPoint wall :
       {WallPoint{60, 0}, WallPoint{180, 0}, WallPoint{180, 60}, WallPoint{60, 60}}) {
    points.push_back({.pixel = project(view, wall), .wall = wall});
  }
  const MapFit fit = fit_plane_map(points);
  REQUIRE(fit.status == MapStatus::kFitted);
  const double middle_px = 639.5;
  const bool right = beyond_horizon(fit.map, {middle_px + 640.0, 359.5});
  const bool left = beyond_horizon(fit.map, {middle_px - 640.0, 359.5});
  CHECK(right != left);
  const double side = right ? 1.0 : -1.0;
  CHECK_FALSE(beyond_horizon(fit.map, {middle_px + side * 630.0, 359.5}));
  CHECK_THROWS_AS((void)wall_from_pixel(fit.map, {middle_px + side * 640.0, 359.5}),
                  std::invalid_argument);
  const double behind_mm = side * -1000.0 + 120.0;
  CHECK(behind_camera(fit.map, {behind_mm, 0.0}) !=
        behind_camera(fit.map, {240.0 - behind_mm, 0.0}));
}

TEST_CASE("the numbers written with seventeen digits are the same map") {
  for (const WallMap& map : {plane_map(), line_map()}) {
    WallMap read = map;
    for (double& value : read.parameters) value = std::stod(digits(value));
    for (double& value : read.covariance) value = std::stod(digits(value));
    read.centre = {std::stod(digits(map.centre.x_px)), std::stod(digits(map.centre.y_px))};
    read.half_span_px = std::stod(digits(map.half_span_px));
    CHECK(read == map);
  }
}

TEST_CASE("a map without numbers is the caller's bug") {
  CHECK_THROWS_AS((void)wall_from_pixel(WallMap{}, {0.0, 0.0}), std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
