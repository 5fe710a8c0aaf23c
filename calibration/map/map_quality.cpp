#include "calibration/map/map_quality.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <vector>

#include "calibration/map/ruler_map.h"
#include "calibration/map/standing_off.h"

namespace nightswing::calibration {
namespace {

double displacement_mm(const WallMap& map, PixelPoint from, PixelPoint to) {
  const WallPoint a = wall_from_pixel(map, from);
  const WallPoint b = wall_from_pixel(map, to);
  return std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm);
}

constexpr std::size_t kRulerStretches = 20;

/// The ticks of a ruler in stretches, so that what neighbours have in common counts.
std::vector<std::size_t> stretches_of(const WallMap& map) {
  int ticks = 0;
  for (const FittedReference& reference : map.references) {
    ticks = std::max(ticks, reference.point.marker + 1);
  }
  const auto count = static_cast<std::size_t>(ticks);
  const std::size_t stretches = std::min(kRulerStretches, count);
  std::vector<std::size_t> groups;
  for (const FittedReference& reference : map.references) {
    groups.push_back(static_cast<std::size_t>(reference.point.marker) * stretches / count);
  }
  return groups;
}

/// For each reference point the number of its group, 0, 1, 2, ...
std::vector<std::size_t> group_of_each(const WallMap& map) {
  if (map.kind == MapKind::kRuler) return stretches_of(map);
  std::vector<std::size_t> groups;
  std::vector<int> markers;  // of each group
  for (const FittedReference& reference : map.references) {
    const int marker = reference.point.marker;
    auto known = std::ranges::find(markers, marker);
    if (marker == kNoMarker || known == markers.end()) {
      markers.push_back(marker);
      known = markers.end() - 1;
    }
    groups.push_back(static_cast<std::size_t>(known - markers.begin()));
  }
  return groups;
}

/// The fit of the same kind without one group.
MapFit fit_without(const WallMap& map,
                   const std::vector<std::size_t>& groups,
                   std::size_t left_out) {
  std::vector<ReferencePoint> points;
  std::vector<LineReference> readings;
  std::vector<TickPoint> ticks;
  for (std::size_t i = 0; i < groups.size(); ++i) {
    if (groups[i] == left_out) continue;
    const ReferencePoint& p = map.references[i].point;
    points.push_back(p);
    readings.push_back({.pixel = p.pixel, .x_mm = p.wall.x_mm, .u_px = p.u_px});
    ticks.push_back({.pixel = p.pixel, .x_mm = p.wall.x_mm, .u_px = p.u_px});
  }
  if (map.kind == MapKind::kPlane) return fit_plane_map(points, map.frame);
  if (map.kind == MapKind::kRuler) return fit_ruler_map(ticks, map.frame);
  // Two readings would give a straight map, which cannot be compared with a projective one.
  if (readings.size() < 3) return {};
  return fit_line_map(readings, map.frame);
}

/// Of the map and, beside it, of the heights of its sheets.
Eigen::MatrixXd covariance_with_heights(const WallMap& map) {
  const Eigen::MatrixXd known = covariance_matrix(map);
  const Eigen::Index count = known.rows();
  const Eigen::Index all = count + static_cast<Eigen::Index>(map.pages.size());
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(all, all);
  covariance.topLeftCorner(count, count) = known;
  covariance.diagonal().tail(all - count).setConstant(kSheetHeight_mm * kSheetHeight_mm);
  return covariance;
}

Eigen::VectorXd gradient_with_heights(const WallMap& map, PixelPoint from, PixelPoint to) {
  const Eigen::VectorXd known = distance_gradient(map, from, to);
  Eigen::VectorXd gradient(known.size() + static_cast<Eigen::Index>(map.pages.size()));
  gradient << known, height_gradient(map, from, to);
  return gradient;
}

}  // namespace

MapQuality assess_map(const WallMap& map, PixelPoint from, PixelPoint to) {
  const double whole_mm = displacement_mm(map, from, to);
  if (whole_mm == 0.0) throw std::invalid_argument("a travel of no length cannot be judged");
  const std::vector<std::size_t> groups = group_of_each(map);
  MapQuality quality;
  quality.rms_px = residual_rms_px(map);
  for (const FittedReference& reference : map.references) {
    quality.worst_px =
        std::max(quality.worst_px, std::hypot(reference.residual_x_px, reference.residual_y_px));
  }
  if (groups.empty()) return quality;
  const std::size_t count = std::ranges::max(groups) + 1;
  quality.groups = static_cast<int>(count);

  std::vector<double> without;
  for (std::size_t group = 0; group < count; ++group) {
    const MapFit fit = fit_without(map, groups, group);
    if (fit.status != MapStatus::kFitted || beyond_horizon(fit.map, from) ||
        beyond_horizon(fit.map, to)) {
      return quality;
    }
    without.push_back(displacement_mm(fit.map, from, to) / whole_mm - 1.0);
  }
  double mean = 0.0;
  for (const double d : without) mean += d / static_cast<double>(count);
  double sum = 0.0;
  for (const double d : without) sum += (d - mean) * (d - mean);
  quality.jackknife_relative =
      std::sqrt(sum * static_cast<double>(count - 1) / static_cast<double>(count));
  const auto worst = std::ranges::max_element(without, {}, [](double d) { return std::abs(d); });
  quality.worst_change_relative = std::abs(*worst);
  const auto worst_group = static_cast<std::size_t>(worst - without.begin());
  const auto member = std::ranges::find(groups, worst_group) - groups.begin();
  quality.worst_marker = map.references[static_cast<std::size_t>(member)].point.marker;
  return quality;
}

PathUncertainty path_uncertainty(const WallMap& map,
                                 PixelPoint from,
                                 PixelPoint to,
                                 PixelPoint equilibrium_a,
                                 PixelPoint equilibrium_b) {
  PathUncertainty result;
  result.path_mm = displacement_mm(map, from, to);
  result.shift_mm = displacement_mm(map, equilibrium_a, equilibrium_b);
  if (result.path_mm == 0.0 || result.shift_mm == 0.0) {
    throw std::invalid_argument("a path or a shift of no length has no relative uncertainty");
  }
  const Eigen::MatrixXd covariance = covariance_with_heights(map);
  const Eigen::VectorXd path = gradient_with_heights(map, from, to) / result.path_mm;
  const Eigen::VectorXd shift =
      gradient_with_heights(map, equilibrium_a, equilibrium_b) / result.shift_mm;
  const Eigen::VectorXd ratio = shift - path;
  const auto root = [&covariance](const Eigen::VectorXd& gradient) {
    return std::sqrt(std::max(0.0, gradient.dot(covariance * gradient)));
  };
  // Of shares a of the path and b of the shift on a doubtful sheet, path and shift are wrong by a d
  // and b d. The path is the shift and a rest, so that b - a lies, evenly, within the share of the
  // rest on either side of 0.
  const double sheets = sheet_doubt_relative(map);
  const double rest =
      sheets * std::max(0.0, 1.0 - result.shift_mm / result.path_mm) / std::numbers::sqrt3;
  // Of all lengths alike.
  const double common_u = std::hypot(map.print_relative_u, ruler_height_relative(map, from));
  result.scale_relative_u = std::hypot(root(path), common_u, sheets);
  result.nonlinearity_relative_u = std::hypot(root(ratio), rest);
  result.shift_relative_u = std::hypot(root(shift), common_u, sheets);
  const double product = result.scale_relative_u * result.nonlinearity_relative_u;
  if (product > 0.0) {
    // With -rest^2 / 2 the shift is in doubt by d, as the path is.
    const double common = path.dot(covariance * ratio) - rest * rest / 2.0;
    result.correlation = std::clamp(common / product, -1.0, 1.0);
  }
  constexpr int kSteps = 100;
  int outside = 0;
  for (int i = 0; i <= kSteps; ++i) {
    const double share = static_cast<double>(i) / kSteps;
    const PixelPoint place{from.x_px + share * (to.x_px - from.x_px),
                           from.y_px + share * (to.y_px - from.y_px)};
    if (extrapolates(map, place)) ++outside;
  }
  result.extrapolated_share = static_cast<double>(outside) / (kSteps + 1);
  return result;
}

}  // namespace nightswing::calibration
