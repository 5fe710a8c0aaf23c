#include "calibration/map_quality.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <vector>

namespace nightswing::calibration {
namespace {

double displacement_mm(const WallMap& map, PixelPoint from, PixelPoint to) {
  const WallPoint a = wall_from_pixel(map, from);
  const WallPoint b = wall_from_pixel(map, to);
  return std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm);
}

/// For each reference point the number of its group, 0, 1, 2, ...
std::vector<std::size_t> groups_of(const WallMap& map) {
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
  std::vector<LineReference> ticks;
  for (std::size_t i = 0; i < groups.size(); ++i) {
    if (groups[i] == left_out) continue;
    const ReferencePoint& p = map.references[i].point;
    points.push_back(p);
    ticks.push_back({.pixel = p.pixel, .x_mm = p.wall.x_mm, .u_px = p.u_px});
  }
  if (map.kind == MapKind::kPlane) return fit_plane_map(points, map.frame);
  // Two ticks would give a straight map, which cannot be compared with a projective one.
  if (ticks.size() < 3) return {};
  return fit_line_map(ticks, map.frame);
}

}  // namespace

MapQuality assess_map(const WallMap& map, PixelPoint from, PixelPoint to) {
  const double whole_mm = displacement_mm(map, from, to);
  if (whole_mm == 0.0) throw std::invalid_argument("a travel of no length cannot be judged");
  const std::vector<std::size_t> groups = groups_of(map);
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

}  // namespace nightswing::calibration
