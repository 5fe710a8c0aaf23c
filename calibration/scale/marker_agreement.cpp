#include "calibration/scale/marker_agreement.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <set>
#include <utility>

#include <opencv2/calib3d.hpp>

#include "calibration/map/lens.h"
#include "calibration/map/median.h"
#include "calibration/scale/printed_scale.h"

namespace nightswing::calibration {
namespace {

constexpr double kMisplaced = 0.1;           // of a marker's side
constexpr double kOutlying = 5.0;            // robust standard deviations
constexpr double kLeastScatter_px = 0.02;    // below it the robust standard deviation is luck
constexpr std::size_t kEnoughForJoints = 6;  // markers: with fewer, joints would explain anything
constexpr std::array<double, 5> kTriedLenses{0.0, 0.06, 0.12, 0.2, -0.06};  // k1

double typical_side_px(const std::vector<PlacedMarker>& markers) {
  std::vector<double> sides_px;
  for (const PlacedMarker& marker : markers) {
    const auto& corners = marker.refined.corners;
    sides_px.push_back(
        std::hypot(corners[1].x_px - corners[0].x_px, corners[1].y_px - corners[0].y_px));
  }
  return upper_median_of(std::move(sides_px));
}

cv::Point2d without_lens(PixelPoint p, double k1, FrameSize frame) {
  const PixelPoint middle = picture_centre(frame);
  const double radius_px = half_diagonal_px(frame);
  const std::array<double, 1> terms{k1};
  const Eigen::Vector2d d = Eigen::Vector2d(p.x_px - middle.x_px, p.y_px - middle.y_px) / radius_px;
  const Eigen::Vector2d step_px = radius_px * undistortion<double>(d, terms).offset;
  return {p.x_px + step_px.x(), p.y_px + step_px.y()};
}

/// The distance of each marker's farthest corner from the homography that most corners share, after
/// a lens with this k1; empty if there is none.
std::vector<double> offsets_px(const std::vector<PlacedMarker>& markers,
                               double k1,
                               FrameSize frame,
                               double reach_px) {
  std::vector<cv::Point2d> walls;
  std::vector<cv::Point2d> pixels;
  for (const PlacedMarker& marker : markers) {
    for (const WallPoint& p : marker_corners(marker.id)) walls.emplace_back(p.x_mm, p.y_mm);
    for (const PixelPoint& p : marker.refined.corners) pixels.push_back(without_lens(p, k1, frame));
  }
  const cv::Mat plane = cv::findHomography(walls, pixels, cv::RANSAC, reach_px);
  if (plane.empty()) return {};
  std::vector<cv::Point2d> projected;
  cv::perspectiveTransform(walls, projected, plane);
  std::vector<double> offsets(markers.size(), 0.0);
  for (std::size_t i = 0; i < pixels.size(); ++i) {
    offsets[i / 4] = std::max(offsets[i / 4], cv::norm(pixels[i] - projected[i]));
  }
  return offsets;
}

/// How far [px] the image of an edge bulges outwards from its chord.
double sag_px(const WallMap& map, const ReferencePoint& from, const ReferencePoint& to) {
  const WallPoint a = hung_place(map, from);
  const WallPoint b = hung_place(map, to);
  const WallPoint half{(a.x_mm + b.x_mm) / 2.0, (a.y_mm + b.y_mm) / 2.0};
  const auto image = [&map](WallPoint wall) {
    const PixelPoint p = pixel_from_wall(map, wall);
    return Eigen::Vector2d(p.x_px, p.y_px);
  };
  const Eigen::Vector2d start = image(a);
  const Eigen::Vector2d chord = image(b) - start;
  const Eigen::Vector2d middle = image(half) - start;
  const double place = middle.dot(chord) / chord.squaredNorm();  // 1/2 but for perspective
  const Eigen::Vector2d outwards = Eigen::Vector2d(chord.y(), -chord.x()).normalized();
  return middle.dot(outwards) / (4.0 * place * (1.0 - place));
}

}  // namespace

std::vector<PlacedMarker> place_markers(const cv::Mat& values, const std::vector<Marker>& markers) {
  std::vector<PlacedMarker> placed;
  for (const Marker& marker : markers) {
    const auto refined = refine_marker(values, marker.corners);
    if (refined) placed.push_back({marker.id, *refined});
  }
  return placed;
}

std::vector<PlacedMarker> place_again(const cv::Mat& values,
                                      const std::vector<PlacedMarker>& markers,
                                      const WallMap& map,
                                      const MarkerLayout& layout) {
  const std::vector<ReferencePoint> corners = outer_corners(markers, layout);
  std::vector<PlacedMarker> placed;
  for (std::size_t i = 0; i < markers.size(); ++i) {
    std::array<double, 4> sags_px{};
    for (std::size_t k = 0; k < 4; ++k) {
      sags_px[k] = sag_px(map, corners[4 * i + k], corners[4 * i + (k + 1) % 4]);
    }
    const auto refined = refine_marker(values, markers[i].refined.corners, sags_px);
    if (refined) placed.push_back({markers[i].id, *refined});
  }
  return placed;
}

std::vector<ReferencePoint> outer_corners(const std::vector<PlacedMarker>& markers,
                                          const MarkerLayout& layout) {
  std::vector<ReferencePoint> points;
  for (const PlacedMarker& marker : markers) {
    const auto walls = marker_corners(marker.id);
    for (std::size_t k = 0; k < 4; ++k) {
      points.push_back({.pixel = marker.refined.corners[k],
                        .wall = walls[k],
                        .u_px = marker.refined.field_u_px[k],
                        .marker = marker.id,
                        .page = marker_column(marker.id) / layout.columns_per_page + 1});
    }
  }
  return points;
}

void leave_out_misplaced(std::vector<PlacedMarker>& markers, FrameSize frame) {
  const double reach_px = kMisplaced * typical_side_px(markers);
  std::vector<double> best;
  std::ptrdiff_t most = 0;
  double least_px = 0.0;
  for (const double k1 : kTriedLenses) {
    const std::vector<double> offsets = offsets_px(markers, k1, frame, reach_px);
    const auto agree = std::ranges::count_if(offsets, [&](double d) { return d <= reach_px; });
    double sum_px = 0.0;
    for (const double d : offsets) sum_px += std::min(d, reach_px);
    if (agree > most || (agree == most && sum_px < least_px)) {
      most = agree;
      least_px = sum_px;
      best = offsets;
    }
  }
  std::vector<PlacedMarker> agreeing;
  for (std::size_t i = 0; i < best.size(); ++i) {
    if (best[i] <= reach_px) agreeing.push_back(markers[i]);
  }
  markers = agreeing;
}

MapFit leave_out_outlying(std::vector<PlacedMarker>& markers, const MarkerLayout& layout) {
  for (;;) {
    MapFit fit = fit_plane_map(outer_corners(markers, layout), layout.frame);
    if (fit.status != MapStatus::kFitted || markers.size() <= kLeastMarkers) return fit;
    std::vector<double> lengths_px;
    for (const FittedReference& reference : fit.map.references) {
      lengths_px.push_back(std::hypot(reference.residual_x_px, reference.residual_y_px));
    }
    const auto worst = std::ranges::max_element(lengths_px) - lengths_px.begin();
    const double worst_px = lengths_px[static_cast<std::size_t>(worst)];
    const double scatter_px =
        std::max(kLeastScatter_px, upper_median_of(std::move(lengths_px)) / kMedianLengthOfNormal);
    if (worst_px <= kOutlying * scatter_px) return fit;
    markers.erase(markers.begin() + worst / 4);
  }
}

int columns_per_page(const std::vector<PlacedMarker>& markers, FrameSize frame) {
  // Schwarz, Ann. Statist. 6 (1978) 461: the logarithm of the number of data, two a marker since
  // the corners of one err together, for each unknown of a sheet.
  const double data = 2.0 * static_cast<double>(markers.size());
  const auto criterion = [&](int columns) {
    std::set<int> pages;
    for (const PlacedMarker& marker : markers) pages.insert(marker_column(marker.id) / columns);
    const MapFit fit = fit_plane_map(outer_corners(markers, {frame, columns}), frame);
    if (fit.status != MapStatus::kFitted) return std::numeric_limits<double>::infinity();
    const double unknowns = 4.0 * static_cast<double>(pages.size() - 1);
    // Not by the residuals: what is left of an offset of all edges in them depends on the sheets.
    return data * std::log(fit.map.reduced_chi2) + unknowns * std::log(data);
  };
  if (markers.size() < kEnoughForJoints) return kColumnsPerPage;
  return criterion(kColumnsPerPortraitPage) < criterion(kColumnsPerPage) ? kColumnsPerPortraitPage
                                                                         : kColumnsPerPage;
}

}  // namespace nightswing::calibration
