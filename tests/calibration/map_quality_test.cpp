#include "calibration/map_quality.h"

#include <cmath>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>

#include "rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::project;
using test::within_abs;

cv::Matx33d oblique_view() {
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
      PixelPoint pixel = project(oblique_view(), wall);
      pixel.x_px += random.gaussian(noise_px);
      pixel.y_px += random.gaussian(noise_px);
      points.push_back({.pixel = pixel, .wall = wall, .u_px = 0.2, .marker = marker});
    }
  }
  return points;
}

PixelPoint left_end() {
  return project(oblique_view(), {30.0, 30.0});
}
PixelPoint right_end() {
  return project(oblique_view(), {210.0, 30.0});
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
    points.push_back({.pixel = project(oblique_view(), wall), .wall = wall});
  }
  const MapQuality quality = assess_map(fit_plane_map(points).map, left_end(), right_end());
  CHECK(quality.groups == 4);
  CHECK_FALSE(quality.jackknife_relative.has_value());
}

TEST_CASE("a line is judged by leaving out one tick at a time") {
  std::vector<LineReference> ticks;
  for (const double x_mm : {0.0, 60.0, 120.0, 180.0, 240.0}) {
    ticks.push_back({.pixel = project(oblique_view(), {x_mm, 0.0}), .x_mm = x_mm, .u_px = 0.2});
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

TEST_SUITE_END();

}  // namespace nightswing::calibration
