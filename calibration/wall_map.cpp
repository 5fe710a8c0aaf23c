#include "calibration/wall_map.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <stdexcept>

#include <Eigen/LU>

namespace nightswing::calibration {
namespace {

using Parameters = Eigen::Map<const Eigen::VectorXd>;
using Covariance =
    Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>;

Parameters checked_parameters(const WallMap& map) {
  const std::size_t count = map.kind == MapKind::kPlane ? 8 : 3;
  if (map.parameters.size() != count || map.covariance.size() != count * count ||
      !(map.half_span_px > 0.0)) {
    throw std::invalid_argument("a wall map without its parameters or covariance was used");
  }
  return {map.parameters.data(), static_cast<Eigen::Index>(count)};
}

Covariance covariance_of(const WallMap& map) {
  const auto count = static_cast<Eigen::Index>(map.parameters.size());
  return {map.covariance.data(), count, count};
}

/// A pixel in the map's own coordinates: (u, v), or (s, 0) for a line.
Eigen::Vector2d conditioned(const WallMap& map, PixelPoint pixel) {
  const double dx = (pixel.x_px - map.centre.x_px) / map.half_span_px;
  const double dy = (pixel.y_px - map.centre.y_px) / map.half_span_px;
  if (map.kind == MapKind::kPlane) return {dx, dy};
  return {dx * map.direction_x + dy * map.direction_y, 0.0};
}

double depth_at(const WallMap& map, const Eigen::Vector2d& q) {
  const Parameters p = checked_parameters(map);
  return map.kind == MapKind::kPlane ? p[6] * q.x() + p[7] * q.y() + 1.0 : p[2] * q.x() + 1.0;
}

double checked_depth_at(const WallMap& map, const Eigen::Vector2d& q) {
  const double depth = depth_at(map, q);
  if (!(depth > 0.0)) throw std::invalid_argument("a pixel beyond the horizon has no wall point");
  return depth;
}

Eigen::Matrix3d plane_matrix(const WallMap& map) {
  const Parameters h = checked_parameters(map);
  Eigen::Matrix3d matrix;
  matrix << h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0;
  return matrix;
}

/// The inverse of the map in its own coordinates; none for a place behind the camera.
std::optional<Eigen::Vector2d> image_of(const WallMap& map, WallPoint wall) {
  const Parameters p = checked_parameters(map);
  if (map.kind == MapKind::kLine) {
    const double s = (wall.x_mm - p[1]) / (p[0] - p[2] * wall.x_mm);
    if (!std::isfinite(s) || !(p[2] * s + 1.0 > 0.0)) return std::nullopt;
    return Eigen::Vector2d(s, 0.0);
  }
  const Eigen::Vector3d image =
      plane_matrix(map).inverse() * Eigen::Vector3d(wall.x_mm, wall.y_mm, 1.0);
  // The inverse takes a place that is seen to (u, v, 1) / W, whose last number is positive.
  if (!image.allFinite() || !(image.z() > 0.0)) return std::nullopt;
  return Eigen::Vector2d(image.x(), image.y()) / image.z();
}

/// d(x_mm, y_mm) / d(parameters) at the pixel.
Eigen::MatrixXd parameter_jacobian(const WallMap& map, PixelPoint pixel) {
  const Eigen::Vector2d q = conditioned(map, pixel);
  const double depth = checked_depth_at(map, q);
  const WallPoint wall = wall_from_pixel(map, pixel);
  if (map.kind == MapKind::kLine) {
    Eigen::MatrixXd j = Eigen::MatrixXd::Zero(2, 3);
    j.row(0) << q.x(), 1.0, -wall.x_mm * q.x();
    return j / depth;
  }
  Eigen::MatrixXd j(2, 8);
  j.row(0) << q.x(), q.y(), 1.0, 0.0, 0.0, 0.0, -wall.x_mm * q.x(), -wall.x_mm * q.y();
  j.row(1) << 0.0, 0.0, 0.0, q.x(), q.y(), 1.0, -wall.y_mm * q.x(), -wall.y_mm * q.y();
  return j / depth;
}

/// A pixel is outside a convex hull if all of the hull lies within a half turn seen from it, that
/// is, if some gap between the directions to the points is wider than a half turn.
bool outside_hull(const WallMap& map, PixelPoint pixel) {
  std::vector<double> angles_rad;
  for (const FittedReference& reference : map.references) {
    const double dx = reference.point.pixel.x_px - pixel.x_px;
    const double dy = reference.point.pixel.y_px - pixel.y_px;
    if (dx == 0.0 && dy == 0.0) return false;
    angles_rad.push_back(std::atan2(dy, dx));
  }
  if (angles_rad.empty()) return true;
  std::ranges::sort(angles_rad);
  double widest_rad = angles_rad.front() + 2.0 * std::numbers::pi - angles_rad.back();
  for (std::size_t i = 1; i < angles_rad.size(); ++i) {
    widest_rad = std::max(widest_rad, angles_rad[i] - angles_rad[i - 1]);
  }
  return widest_rad > std::numbers::pi;
}

bool beyond_ends(const WallMap& map, PixelPoint pixel) {
  if (map.references.empty()) return true;
  const auto along = [&map](const FittedReference& reference) {
    return conditioned(map, reference.point.pixel).x();
  };
  const auto [first, last] = std::ranges::minmax_element(map.references, {}, along);
  const double s = conditioned(map, pixel).x();
  return s < along(*first) || s > along(*last);
}

}  // namespace

bool beyond_horizon(const WallMap& map, PixelPoint pixel) {
  return !(depth_at(map, conditioned(map, pixel)) > 0.0);
}

WallPoint wall_from_pixel(const WallMap& map, PixelPoint pixel) {
  const Parameters p = checked_parameters(map);
  const Eigen::Vector2d q = conditioned(map, pixel);
  const double depth = checked_depth_at(map, q);
  if (map.kind == MapKind::kLine) return {(p[0] * q.x() + p[1]) / depth, 0.0};
  return {(p[0] * q.x() + p[1] * q.y() + p[2]) / depth,
          (p[3] * q.x() + p[4] * q.y() + p[5]) / depth};
}

bool behind_camera(const WallMap& map, WallPoint wall) {
  return !image_of(map, wall).has_value();
}

PixelPoint pixel_from_wall(const WallMap& map, WallPoint wall) {
  const auto q = image_of(map, wall);
  if (!q) throw std::invalid_argument("a place behind the camera has no pixel");
  const Eigen::Vector2d step_px = map.half_span_px * *q;
  if (map.kind == MapKind::kPlane) {
    return {map.centre.x_px + step_px.x(), map.centre.y_px + step_px.y()};
  }
  return {map.centre.x_px + step_px.x() * map.direction_x,
          map.centre.y_px + step_px.x() * map.direction_y};
}

Eigen::Matrix2d jacobian(const WallMap& map, PixelPoint pixel) {
  const Parameters p = checked_parameters(map);
  const Eigen::Vector2d q = conditioned(map, pixel);
  const double depth_px = checked_depth_at(map, q) * map.half_span_px;
  const WallPoint wall = wall_from_pixel(map, pixel);
  Eigen::Matrix2d j = Eigen::Matrix2d::Zero();
  if (map.kind == MapKind::kLine) {
    j.row(0) << map.direction_x, map.direction_y;
    return j * (p[0] - wall.x_mm * p[2]) / depth_px;
  }
  j << p[0] - wall.x_mm * p[6], p[1] - wall.x_mm * p[7],  //
      p[3] - wall.y_mm * p[6], p[4] - wall.y_mm * p[7];
  return j / depth_px;
}

Eigen::Matrix2d map_covariance_mm2(const WallMap& map, PixelPoint pixel) {
  const Eigen::MatrixXd j = parameter_jacobian(map, pixel);
  return j * covariance_of(map) * j.transpose();
}

double displacement_uncertainty_mm(const WallMap& map, PixelPoint from, PixelPoint to) {
  const WallPoint start = wall_from_pixel(map, from);
  const WallPoint end = wall_from_pixel(map, to);
  const Eigen::Vector2d displacement_mm(end.x_mm - start.x_mm, end.y_mm - start.y_mm);
  const double distance_mm = displacement_mm.norm();
  if (distance_mm == 0.0) return 0.0;
  const Eigen::MatrixXd difference = parameter_jacobian(map, to) - parameter_jacobian(map, from);
  const Eigen::VectorXd gradient = difference.transpose() * displacement_mm / distance_mm;
  return std::sqrt(std::max(0.0, gradient.dot(covariance_of(map) * gradient)));
}

double mm_per_px(const WallMap& map, PixelPoint pixel) {
  const Eigen::Matrix2d j = jacobian(map, pixel);
  return map.kind == MapKind::kLine ? j.row(0).norm() : std::sqrt(std::abs(j.determinant()));
}

bool extrapolates(const WallMap& map, PixelPoint pixel) {
  return map.kind == MapKind::kPlane ? outside_hull(map, pixel) : beyond_ends(map, pixel);
}

double residual_rms_px(const WallMap& map) {
  if (map.references.empty()) return 0.0;
  double sum = 0.0;
  for (const FittedReference& reference : map.references) {
    sum += reference.residual_x_px * reference.residual_x_px +
           reference.residual_y_px * reference.residual_y_px;
  }
  return std::sqrt(sum / static_cast<double>(map.references.size()));
}

std::array<double, 9> homography_mm_from_px(const WallMap& map) {
  if (map.kind != MapKind::kPlane) throw std::invalid_argument("a line map has no homography");
  Eigen::Matrix3d conditioning;
  conditioning << 1.0, 0.0, -map.centre.x_px, 0.0, 1.0, -map.centre.y_px, 0.0, 0.0,
      map.half_span_px;
  const Eigen::Matrix3d matrix = plane_matrix(map) * conditioning;
  std::array<double, 9> rows{};
  Eigen::Map<Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(rows.data()) = matrix;
  return rows;
}

}  // namespace nightswing::calibration
