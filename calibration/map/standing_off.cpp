#include "calibration/map/standing_off.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include <Eigen/Geometry>
#include <Eigen/LU>

#include "calibration/map/camera_likeness.h"

namespace nightswing::calibration {
namespace {

constexpr double kUsualFocal = 0.9;  // widths of the picture

/// The references of one sheet lie from near_mm to far_mm along the scale.
struct SheetRange {
  int page;
  double near_mm;
  double far_mm;
};

std::vector<SheetRange> ranges_of(const WallMap& map) {
  std::vector<SheetRange> ranges;
  for (const FittedReference& reference : map.references) {
    const double x_mm = reference.point.wall.x_mm;
    const auto known = std::ranges::find(ranges, reference.point.page, &SheetRange::page);
    if (known == ranges.end()) {
      ranges.push_back({reference.point.page, x_mm, x_mm});
    } else {
      known->near_mm = std::min(known->near_mm, x_mm);
      known->far_mm = std::max(known->far_mm, x_mm);
    }
  }
  return ranges;
}

/// The place of the camera: x and y along the wall and its distance, in mm.
Eigen::Vector3d eye_of(const WallMap& map) {
  const double focal_px = kUsualFocal * map.frame.width_px;
  Eigen::Matrix3d seen = centred_pixel_from_mm(map);
  seen.topRows<2>() /= focal_px;
  // With a focal length that is only about right the axes of the wall are of about one length.
  const Eigen::Vector3d x = seen.col(0);
  const Eigen::Vector3d y = seen.col(1);
  const Eigen::Vector3d across = x.cross(y) / std::sqrt(x.norm() * y.norm());
  Eigen::Matrix3d axes;
  axes << x, y, across;
  const Eigen::Vector3d eye = axes.inverse() * -seen.col(2);
  return {eye.x(), eye.y(), std::abs(eye.z())};
}

}  // namespace

Eigen::VectorXd height_gradient(const WallMap& map, PixelPoint from, PixelPoint to) {
  Eigen::VectorXd gradient = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(map.pages.size()));
  if (map.pages.empty() || map.frame.width_px <= 0 || map.frame.height_px <= 0) return gradient;
  const std::vector<SheetRange> ranges = ranges_of(map);
  const Eigen::Vector3d eye_mm = eye_of(map);
  const WallPoint start = wall_from_pixel(map, from);
  const WallPoint end = wall_from_pixel(map, to);
  const Eigen::Vector2d way(end.x_mm - start.x_mm, end.y_mm - start.y_mm);
  if (way.norm() == 0.0) return gradient;
  const auto add = [&](const WallPoint& place, double sign) {
    const auto off = [&place](const SheetRange& range) {
      return std::max(range.near_mm - place.x_mm, place.x_mm - range.far_mm);
    };
    const auto here = std::ranges::min_element(ranges, {}, off);
    const auto page = std::ranges::find(map.pages, here->page, &PageShift::page);
    if (page == map.pages.end()) return;  // the first sheet
    const Eigen::Vector2d from_foot(place.x_mm - eye_mm.x(), place.y_mm - eye_mm.y());
    gradient[page - map.pages.begin()] += sign * from_foot.dot(way.normalized()) / eye_mm.z();
  };
  add(start, -1.0);
  add(end, 1.0);
  return gradient;
}

double ruler_height_relative(const WallMap& map, PixelPoint pixel) {
  if (map.kind == MapKind::kPlane || map.frame.width_px <= 0) return 0.0;
  return kRulerHeight_mm / (kUsualFocal * map.frame.width_px * mm_per_px(map, pixel));
}

}  // namespace nightswing::calibration
