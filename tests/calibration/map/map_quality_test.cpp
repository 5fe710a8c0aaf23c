#include "calibration/map/map_quality.h"

#include <cmath>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>

#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::project;
using test::within_abs;

cv::Matx33d tilted_view() {
  return test::pixel_from_wall_matrix({.yaw_rad = 0.3, .pitch_rad = 0.2}, {1280, 720});
}

/// Two rows of six squares; each of four corners.
std::vector<ReferencePoint> marker_points(double noise_px, cv::RNG& random) {
  std::vector<ReferencePoint> points;
  for (int marker = 0; marker < 12; ++marker) {
    const int column = marker / 2;
    const WallPoint centre{20.0 + 40.0 * column, marker % 2 == 0 ? -30.0 : 80.0};
    for (const WallPoint step :
         {WallPoint{-8, 8}, WallPoint{8, 8}, WallPoint{8, -8}, WallPoint{-8, -8}}) {
      const WallPoint wall{centre.x_mm + step.x_mm, centre.y_mm + step.y_mm};
      PixelPoint pixel = project(tilted_view(), wall);
      pixel.x_px += random.gaussian(noise_px);
      pixel.y_px += random.gaussian(noise_px);
      points.push_back({.pixel = pixel, .wall = wall, .u_px = 0.2, .marker = marker});
    }
  }
  return points;
}

PixelPoint left_end() {
  return project(tilted_view(), {30.0, 30.0});
}
PixelPoint right_end() {
  return project(tilted_view(), {210.0, 30.0});
}

}  // namespace

TEST_SUITE_BEGIN("map_quality");

TEST_CASE("exact points leave nothing to complain of") {
  cv::RNG random(1);
  const MapQuality quality =
      assess_map(fit_plane_map(marker_points(0.0, random)).map, left_end(), right_end());
  CHECK(quality.groups == 12);
  CHECK(quality.rms_px == within_abs(0.0, 1e-9));
  CHECK(quality.worst_px == within_abs(0.0, 1e-9));
  REQUIRE(quality.jackknife_relative.has_value());
  CHECK(*quality.jackknife_relative == within_abs(0.0, 1e-10));
}

TEST_CASE("with independent errors the jackknife agrees with the covariance") {
  // Both estimate the same standard uncertainty. One jackknife of 12 groups is uncertain by some
  // 30 %, so the root mean square of 40 is compared; it is known to lie high for few groups (Efron,
  // Stein: Ann. Statist. 9 (1981) 586, from memory).
  cv::RNG random(31);
  double jackknife2 = 0.0;
  double stated2 = 0.0;
  for (int i = 0; i < 40; ++i) {
    const WallMap map = fit_plane_map(marker_points(0.2, random)).map;
    const MapQuality quality = assess_map(map, left_end(), right_end());
    REQUIRE(quality.jackknife_relative.has_value());
    jackknife2 += *quality.jackknife_relative * *quality.jackknife_relative;
    const double u = displacement_uncertainty_mm(map, left_end(), right_end()) / 180.0;
    stated2 += u * u;
  }
  const double ratio = std::sqrt(jackknife2 / stated2);
  CHECK(ratio > 0.9);
  CHECK(ratio < 1.6);
}

TEST_CASE("residuals and the worst marker point at the sheet that was stuck on askew") {
  cv::RNG random(2);
  std::vector<ReferencePoint> points = marker_points(0.02, random);
  for (ReferencePoint& p : points) {
    if (p.marker == 10) p.pixel.x_px += 1.0;
  }
  const MapQuality quality = assess_map(fit_plane_map(points).map, left_end(), right_end());
  CHECK(quality.worst_marker == 10);
  REQUIRE(quality.worst_change_relative.has_value());
  CHECK(*quality.worst_change_relative > 1e-4);  // a good part of 1 px in 600
  CHECK(quality.worst_px > 0.3);
}

TEST_CASE("too few groups give residuals only") {
  std::vector<ReferencePoint> points;
  for (const WallPoint wall :
       {WallPoint{0, 0}, WallPoint{200, 0}, WallPoint{200, 80}, WallPoint{0, 80}}) {
    points.push_back({.pixel = project(tilted_view(), wall), .wall = wall});
  }
  const MapQuality quality = assess_map(fit_plane_map(points).map, left_end(), right_end());
  CHECK(quality.groups == 4);
  CHECK_FALSE(quality.jackknife_relative.has_value());
}

TEST_CASE("a line is judged by leaving out one tick at a time") {
  std::vector<LineReference> ticks;
  for (const double x_mm : {0.0, 60.0, 120.0, 180.0, 240.0}) {
    ticks.push_back({.pixel = project(tilted_view(), {x_mm, 0.0}), .x_mm = x_mm, .u_px = 0.2});
  }
  ticks[2].pixel.x_px += 0.4;
  const MapQuality quality = assess_map(fit_line_map(ticks).map, left_end(), right_end());
  CHECK(quality.groups == 5);
  REQUIRE(quality.jackknife_relative.has_value());
  CHECK(*quality.jackknife_relative > 0.0);
  CHECK(quality.worst_marker == kNoMarker);
}

TEST_CASE("a travel of no length is the caller's bug") {
  cv::RNG random(1);
  const WallMap map = fit_plane_map(marker_points(0.0, random)).map;
  CHECK_THROWS_AS((void)assess_map(map, left_end(), left_end()), std::invalid_argument);
}

TEST_CASE("scale factor and non-linearity make up the uncertainty of the shift") {
  cv::RNG random(6);
  const WallMap map = fit_plane_map(marker_points(0.2, random), {1280, 720}).map;
  const PixelPoint a = project(tilted_view(), {70.0, 30.0});
  const PixelPoint b = project(tilted_view(), {110.0, 30.0});
  const PathUncertainty u = path_uncertainty(map, left_end(), right_end(), a, b);
  CHECK(u.path_mm == within_abs(180.0, 0.5));  // the map's own idea of it
  CHECK(u.shift_mm == within_abs(40.0, 0.2));
  CHECK(u.scale_relative_u * u.path_mm ==
        within_abs(displacement_uncertainty_mm(map, left_end(), right_end()), 1e-12));
  CHECK(u.shift_relative_u * u.shift_mm ==
        within_abs(displacement_uncertainty_mm(map, a, b), 1e-12));
  // JCGM 100:2008 (13) for a product of two correlated factors.
  const double sum2 = std::pow(u.scale_relative_u, 2) + std::pow(u.nonlinearity_relative_u, 2) +
                      2.0 * u.correlation * u.scale_relative_u * u.nonlinearity_relative_u;
  CHECK(u.shift_relative_u == test::within_rel(std::sqrt(sum2), 1e-9));
  CHECK(u.extrapolated_share == 0.0);
}

TEST_CASE("a shift over the whole path has no non-linearity of its own") {
  cv::RNG random(6);
  const WallMap map = fit_plane_map(marker_points(0.2, random), {1280, 720}).map;
  const PathUncertainty u = path_uncertainty(map, left_end(), right_end(), left_end(), right_end());
  CHECK(u.nonlinearity_relative_u == 0.0);
  CHECK(u.scale_relative_u == u.shift_relative_u);
}

TEST_CASE("sheets of different size put path, shift and their proportion in doubt") {
  cv::RNG random(6);
  WallMap map = fit_plane_map(marker_points(0.0, random), {1280, 720}).map;
  map.pages = {{.page = 2, .larger_relative = 3e-3, .u_larger_relative = 1e-4},
               {.page = 3, .larger_relative = -1e-3, .u_larger_relative = 2e-3}};
  // Page 2 by sqrt(3e-3^2 - 1e-4^2) against the first; page 3 no more than its uncertainty.
  // The truth is either of them with equal chance: 0 or the difference.
  const double doubt = std::sqrt((9e-6 - 1e-8) / 2.0);
  CHECK(sheet_doubt_relative(map) == test::within_rel(doubt, 1e-12));
  const PixelPoint a = project(tilted_view(), {70.0, 30.0});
  const PixelPoint b = project(tilted_view(), {110.0, 30.0});
  const PathUncertainty u = path_uncertainty(map, left_end(), right_end(), a, b);
  // Path and shift wholly on the doubtful sheet; their proportion evenly within the rest of the
  // path, 140 of 180 mm. Beside them the map itself (u_px of 0.2) is some 3e-4, which adds in
  // squares: to a doubt of 2.1e-3 1 %, to one of 1e-3 5 %.
  CHECK(u.scale_relative_u == test::within_rel(doubt, 0.02));
  CHECK(u.shift_relative_u == test::within_rel(doubt, 0.05));
  CHECK(u.nonlinearity_relative_u == test::within_rel(doubt * 140.0 / 180.0 / std::sqrt(3.0), 0.1));
  const double sum2 = std::pow(u.scale_relative_u, 2) + std::pow(u.nonlinearity_relative_u, 2) +
                      2.0 * u.correlation * u.scale_relative_u * u.nonlinearity_relative_u;
  CHECK(u.shift_relative_u == test::within_rel(std::sqrt(sum2), 1e-9));  // JCGM 100:2008 (13)
}

TEST_CASE("the non-linearity is that of fits to redrawn points") {
  // Monte Carlo as in JCGM 101:2008. Without a frame, because the lens is not redrawn.
  const PixelPoint a = project(tilted_view(), {40.0, 30.0});
  const PixelPoint b = project(tilted_view(), {80.0, 30.0});
  cv::RNG random(77);
  double seen2 = 0.0;
  double stated2 = 0.0;
  constexpr int kFits = 300;
  for (int i = 0; i < kFits; ++i) {
    const WallMap map = fit_plane_map(marker_points(0.2, random)).map;
    const PathUncertainty u = path_uncertainty(map, left_end(), right_end(), a, b);
    seen2 += std::pow(u.shift_mm / u.path_mm * 180.0 / 40.0 - 1.0, 2);
    stated2 += std::pow(u.nonlinearity_relative_u, 2);
  }
  // The width over 300 fits scatters by 4 %; the floor of the widening adds 1 to 2 %.
  CHECK(std::sqrt(seen2 / stated2) == within_abs(1.0, 0.12));
}

TEST_CASE("a path beyond the markers is less certain, and says so") {
  cv::RNG random(8);
  const WallMap map = fit_plane_map(marker_points(0.2, random), {1280, 720}).map;
  const PixelPoint far_end = project(tilted_view(), {330.0, 30.0});
  const PixelPoint a = project(tilted_view(), {270.0, 30.0});
  const PixelPoint b = project(tilted_view(), {310.0, 30.0});
  const PathUncertainty inside =
      path_uncertainty(map, left_end(), right_end(), left_end(), right_end());
  const PathUncertainty outside = path_uncertainty(map, left_end(), far_end, a, b);
  CHECK(outside.extrapolated_share > 0.2);  // 102 of 300 mm, seen obliquely
  CHECK(outside.extrapolated_share < 0.6);
  CHECK(outside.shift_relative_u > 3.0 * inside.shift_relative_u);
}

TEST_CASE("a path or a shift of no length is the caller's bug") {
  cv::RNG random(1);
  const WallMap map = fit_plane_map(marker_points(0.0, random)).map;
  CHECK_THROWS_AS((void)path_uncertainty(map, left_end(), left_end(), left_end(), right_end()),
                  std::invalid_argument);
  CHECK_THROWS_AS((void)path_uncertainty(map, left_end(), right_end(), left_end(), left_end()),
                  std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
