#include "calibration/scale/marker_agreement.h"

#include <algorithm>
#include <cmath>
#include <set>
#include <vector>

#include <doctest/doctest.h>

#include "calibration/scale/printed_scale.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/calibration/usual_frame.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::kFrame;
using test::within_abs;

cv::Matx33d usual_view() {
  return test::pixel_from_wall_matrix({.yaw_rad = 0.2, .pitch_rad = -0.15}, {1280, 720});
}

/// Markers as they would be placed on a flat wall, each coordinate off by sigma_px.
std::vector<PlacedMarker> placed_markers(const cv::Matx33d& view, int count, double sigma_px) {
  cv::RNG random(8);
  std::vector<PlacedMarker> markers;
  for (int id = 0; id < count; ++id) {
    PlacedMarker marker{.id = id, .refined = {.corners = {}, .field_u_px = {}}};
    const auto walls = marker_corners(id);
    for (std::size_t k = 0; k < 4; ++k) {
      const PixelPoint p = test::project(view, walls[k]);
      marker.refined.corners[k] = {p.x_px + random.gaussian(sigma_px),
                                   p.y_px + random.gaussian(sigma_px)};
      marker.refined.field_u_px[k] = std::max(0.01, sigma_px);
    }
    markers.push_back(marker);
  }
  return markers;
}

void move(PlacedMarker& marker, double right_px, double down_px) {
  for (PixelPoint& p : marker.refined.corners) {
    p.x_px += right_px;
    p.y_px += down_px;
  }
}

std::set<int> ids_of(const std::vector<PlacedMarker>& markers) {
  std::set<int> ids;
  for (const PlacedMarker& marker : markers) ids.insert(marker.id);
  return ids;
}

double worst_px(const std::vector<PlacedMarker>& placed, const cv::Matx33d& view) {
  double worst = 0.0;
  for (const PlacedMarker& marker : placed) {
    const auto walls = marker_corners(marker.id);
    for (std::size_t k = 0; k < 4; ++k) {
      const PixelPoint truth = test::project(view, walls[k]);
      worst = std::max(worst,
                       std::hypot(marker.refined.corners[k].x_px - truth.x_px,
                                  marker.refined.corners[k].y_px - truth.y_px));
    }
  }
  return worst;
}

}  // namespace

TEST_SUITE_BEGIN("marker_agreement");

TEST_CASE("each marker gives its four corners, with its number and its sheet") {
  const auto markers = placed_markers(usual_view(), 14, 0.0);
  const auto points = outer_corners(markers, {kFrame, 6});
  REQUIRE(points.size() == 4 * 14);
  CHECK(points[0].wall == WallPoint{8.0, -18.0});  // marker 0: centre (20, -30), 24 mm
  CHECK(points[2].wall == WallPoint{32.0, -42.0});
  CHECK(points[0].pixel == markers[0].refined.corners[0]);
  CHECK(points[21].marker == 5);
  // Six columns of two markers on a sheet, or four.
  CHECK(points[4 * 11].page == 1);
  CHECK(points[4 * 12].page == 2);
  CHECK(outer_corners(markers, {kFrame, 4})[4 * 8].page == 2);
}

TEST_CASE("markers of a rendered scale are placed where they are, guessed ones are sharpened") {
  const cv::Matx33d view = usual_view();
  cv::Mat values;
  test::render_scale(view, {}).convertTo(values, CV_32F);
  std::vector<Marker> rough;
  for (const PlacedMarker& marker : placed_markers(view, 12, 0.0)) {
    rough.push_back({.id = marker.id, .corners = marker.refined.corners});
    for (PixelPoint& p : rough.back().corners) p.x_px += 0.8;
  }
  rough.push_back({.id = 12, .corners = {{{10, 10}, {60, 10}, {60, 60}, {10, 60}}}});  // bare wall
  const auto placed = place_markers(values, rough);
  CHECK(ids_of(placed) == std::set<int>{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11});
  // 2 gray values of noise: some hundredths of a pixel a corner, 48 corners.
  CHECK(worst_px(placed, view) == within_abs(0.0, 0.1));
}

TEST_CASE("edges bent by the lens are followed once there is a map") {
  const cv::Matx33d view = usual_view();
  test::RenderOptions options;
  options.noise_dn = 1.0;
  options.lens.k1 = -0.08;
  cv::Mat values;
  test::render_scale(view, options).convertTo(values, CV_32F);
  std::vector<Marker> rough;
  for (int id = 0; id < 12; ++id) {
    Marker marker{.id = id, .corners = {}};
    const auto walls = marker_corners(id);
    for (std::size_t k = 0; k < 4; ++k) marker.corners[k] = test::seen_at(view, options, walls[k]);
    rough.push_back(marker);
  }
  const auto error_px = [&](const std::vector<PlacedMarker>& markers) {
    double squares = 0.0;
    for (const PlacedMarker& marker : markers) {
      for (std::size_t k = 0; k < 4; ++k) {
        const PixelPoint& truth = rough[static_cast<std::size_t>(marker.id)].corners[k];
        squares += std::pow(marker.refined.corners[k].x_px - truth.x_px, 2) +
                   std::pow(marker.refined.corners[k].y_px - truth.y_px, 2);
      }
    }
    return std::sqrt(squares / (8.0 * static_cast<double>(markers.size())));
  };
  const auto straight = place_markers(values, rough);
  REQUIRE(straight.size() == 12);
  const MarkerLayout layout{kFrame, 6};
  const MapFit fit = fit_plane_map(outer_corners(straight, layout), kFrame);
  REQUIRE(fit.status == MapStatus::kFitted);
  const auto bent = place_again(values, straight, fit.map, layout);
  REQUIRE(bent.size() == 12);
  CHECK(error_px(bent) < 0.6 * error_px(straight));
  CHECK(error_px(bent) < 0.05);
}

TEST_CASE("markers that lie elsewhere than the others say are left out") {
  auto markers = placed_markers(usual_view(), 12, 0.05);
  move(markers[3], 60.0, 0.0);
  move(markers[8], 0.0, -25.0);
  leave_out_misplaced(markers, kFrame);
  CHECK(ids_of(markers) == std::set<int>{0, 1, 2, 4, 5, 6, 7, 9, 10, 11});
}

TEST_CASE("a strong lens makes no marker misplaced") {
  const cv::Matx33d view = usual_view();
  for (const double k1 : {-0.15, 0.06}) {
    CAPTURE(k1);
    test::RenderOptions options;
    options.lens.k1 = k1;
    auto markers = placed_markers(view, 12, 0.0);
    for (PlacedMarker& marker : markers) {
      const auto walls = marker_corners(marker.id);
      for (std::size_t k = 0; k < 4; ++k) {
        marker.refined.corners[k] = test::seen_at(view, options, walls[k]);
      }
    }
    leave_out_misplaced(markers, kFrame);
    CHECK(markers.size() == 12);
  }
}

TEST_CASE("a marker that scatters more than the rest is left out of the map, the rest stay") {
  auto markers = placed_markers(usual_view(), 12, 0.03);
  markers[6].refined.corners[2].x_px += 0.6;  // twenty standard deviations
  const MapFit fit = leave_out_outlying(markers, {kFrame, 6});
  REQUIRE(fit.status == MapStatus::kFitted);
  CHECK(ids_of(markers) == std::set<int>{0, 1, 2, 3, 4, 5, 7, 8, 9, 10, 11});
  CHECK(fit.map.references.size() == 44);
  auto good = placed_markers(usual_view(), 12, 0.03);
  static_cast<void>(leave_out_outlying(good, {kFrame, 6}));
  CHECK(good.size() == 12);
}

TEST_CASE("joints after four columns tell a scale printed in portrait") {
  // Eight columns from farther away; all from a column on hang 0.7 mm off.
  const cv::Matx33d view = test::pixel_from_wall_matrix(
      {.yaw_rad = 0.1, .pitch_rad = -0.1, .distance_mm = 420.0, .aim = {160.0, 25.0}}, {1280, 720});
  const auto with_joint_at = [&](int column) {
    auto markers = placed_markers(view, 16, 0.03);
    for (PlacedMarker& marker : markers) {
      if (marker_column(marker.id) < column) continue;
      const auto walls = marker_corners(marker.id);
      for (std::size_t k = 0; k < 4; ++k) {
        const PixelPoint before = test::project(view, walls[k]);
        const PixelPoint hung = test::project(view, {walls[k].x_mm + 0.7, walls[k].y_mm - 0.4});
        marker.refined.corners[k].x_px += hung.x_px - before.x_px;
        marker.refined.corners[k].y_px += hung.y_px - before.y_px;
      }
    }
    return markers;
  };
  CHECK(columns_per_page(with_joint_at(4), kFrame) == 4);
  CHECK(columns_per_page(with_joint_at(6), kFrame) == 6);
  CHECK(columns_per_page(with_joint_at(99), kFrame) == 6);  // no joint to be seen
  CHECK(columns_per_page(placed_markers(view, 4, 0.03), kFrame) == 6);

  // A curled corner of the first sheet is no joint, though one after four columns would explain it.
  auto curled = with_joint_at(6);
  for (PlacedMarker& marker : curled) {
    if (marker_column(marker.id) != 4) continue;
    for (PixelPoint& corner : marker.refined.corners) corner.y_px += 4.0;
  }
  CHECK(columns_per_page(curled, kFrame) == 6);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
