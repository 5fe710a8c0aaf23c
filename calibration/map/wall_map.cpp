#include "calibration/map/wall_map.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <stdexcept>

#include <Eigen/LU>

#include "calibration/map/lens.h"

namespace nightswing::calibration {
namespace {

using Parameters = Eigen::Map<const Eigen::VectorXd>;
using Covariance =
    Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>;

/// Numbers of the map itself, without the lens.
std::size_t parameter_count(MapKind kind) {
  switch (kind) {
    case MapKind::kPlane:
      return 8;
    case MapKind::kLine:
      return 3;
    case MapKind::kRuler:
      return 5;
  }
  throw std::invalid_argument("not a kind of wall map");
}

/// Numbers of the lens that the covariance belongs to: the terms, and for a plane the centre.
std::size_t lens_count(const WallMap& map) {
  if (map.distortion.empty()) return 0;
  return map.distortion.size() + (map.kind == MapKind::kPlane ? 2 : 0);
}

Parameters checked_parameters(const WallMap& map) {
  const std::size_t count = parameter_count(map.kind);
  const std::size_t all = count + lens_count(map);
  if (map.parameters.size() != count || map.covariance.size() != all * all ||
      !(map.half_span_px > 0.0) || !(map.distortion_radius_px > 0.0) ||
      (map.kind == MapKind::kLine && !map.distortion.empty())) {
    throw std::invalid_argument("a wall map without its parameters or covariance was used");
  }
  return {map.parameters.data(), static_cast<Eigen::Index>(count)};
}

Covariance covariance_of(const WallMap& map) {
  const Eigen::Index count = std::lround(std::sqrt(map.covariance.size()));
  return {map.covariance.data(), count, count};
}

/// A pixel relative to the lens's centre, in half diagonals.
Eigen::Vector2d in_lens(const WallMap& map, PixelPoint pixel) {
  return Eigen::Vector2d(pixel.x_px - map.distortion_centre.x_px,
                         pixel.y_px - map.distortion_centre.y_px) /
         map.distortion_radius_px;
}

Undistortion<double> undistortion_at(const WallMap& map, PixelPoint pixel) {
  return undistortion<double>(in_lens(map, pixel), map.distortion);
}

/// The stored pixel whose undistorted one is given; none beyond the reach of the lens terms.
std::optional<PixelPoint> distorted(const WallMap& map, PixelPoint straight) {
  if (map.distortion.empty()) return straight;
  const Eigen::Vector2d d = in_lens(map, straight);
  const double reach = monotonic_reach(map.distortion);
  const double r = distorted_radius(d.norm(), map.distortion, reach);
  if (!(r < reach)) return std::nullopt;
  const Eigen::Vector2d stored =
      d.norm() > 0.0 ? Eigen::Vector2d(d * (r / d.norm())) : Eigen::Vector2d::Zero();
  return PixelPoint{map.distortion_centre.x_px + map.distortion_radius_px * stored.x(),
                    map.distortion_centre.y_px + map.distortion_radius_px * stored.y()};
}

/// A pixel in the map's own coordinates: (u, v), or (s, 0) for a line.
Eigen::Vector2d own_coordinates(const WallMap& map, PixelPoint pixel) {
  const PixelPoint straight = undistorted(map, pixel);
  const double dx = (straight.x_px - map.centre.x_px) / map.half_span_px;
  const double dy = (straight.y_px - map.centre.y_px) / map.half_span_px;
  if (map.kind != MapKind::kLine) return {dx, dy};
  return {dx * map.direction_x + dy * map.direction_y, 0.0};
}

double depth_at(const WallMap& map, const Eigen::Vector2d& q) {
  const Parameters p = checked_parameters(map);
  if (map.kind == MapKind::kLine) return p[2] * q.x() + 1.0;
  const Eigen::Index at = map.kind == MapKind::kPlane ? 6 : 3;
  return p[at] * q.x() + p[at + 1] * q.y() + 1.0;
}

Eigen::Matrix3d plane_matrix(const WallMap& map) {
  const Parameters h = checked_parameters(map);
  Eigen::Matrix3d matrix;
  matrix << h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0;
  return matrix;
}

/// The inverse of the map in its own coordinates, before the lens; none behind the camera.
std::optional<Eigen::Vector2d> straight_image_of(const WallMap& map, WallPoint wall) {
  const Parameters p = checked_parameters(map);
  if (map.kind == MapKind::kRuler) {
    throw std::invalid_argument("the ticks of a ruler do not tell where a place is in the picture");
  }
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

/// The pixel that shows the place; none behind the camera or beyond the reach of the lens terms.
std::optional<PixelPoint> image_of(const WallMap& map, WallPoint wall) {
  const auto q = straight_image_of(map, wall);
  if (!q) return std::nullopt;
  const Eigen::Vector2d step_px = map.half_span_px * *q;
  if (map.kind == MapKind::kLine) {
    return PixelPoint{map.centre.x_px + step_px.x() * map.direction_x,
                      map.centre.y_px + step_px.x() * map.direction_y};
  }
  return distorted(map, {map.centre.x_px + step_px.x(), map.centre.y_px + step_px.y()});
}

double checked_depth_at(const WallMap& map, PixelPoint pixel) {
  if (beyond_horizon(map, pixel)) {
    throw std::invalid_argument("a pixel beyond the horizon has no wall point");
  }
  return depth_at(map, own_coordinates(map, pixel));
}

/// d(x_mm, y_mm) / d(undistorted pixel), in mm per px.
Eigen::Matrix2d straight_jacobian(const WallMap& map, PixelPoint pixel) {
  const Parameters p = checked_parameters(map);
  const double depth_px = checked_depth_at(map, pixel) * map.half_span_px;
  const WallPoint wall = wall_from_pixel(map, pixel);
  Eigen::Matrix2d j = Eigen::Matrix2d::Zero();
  if (map.kind == MapKind::kLine) {
    j.row(0) << map.direction_x, map.direction_y;
    return j * (p[0] - wall.x_mm * p[2]) / depth_px;
  }
  if (map.kind == MapKind::kRuler) {
    j.row(0) << p[0] - wall.x_mm * p[3], p[1] - wall.x_mm * p[4];
    return j / depth_px;
  }
  j << p[0] - wall.x_mm * p[6], p[1] - wall.x_mm * p[7],  //
      p[3] - wall.y_mm * p[6], p[4] - wall.y_mm * p[7];
  return j / depth_px;
}

/// d(x_mm, y_mm) / d(lens terms, and for a plane its centre) at the pixel.
Eigen::MatrixXd lens_jacobian(const WallMap& map, PixelPoint pixel) {
  const Eigen::Vector2d d = in_lens(map, pixel);
  const auto count = static_cast<Eigen::Index>(map.distortion.size());
  // d(undistorted pixel) / d(the same)
  Eigen::MatrixXd straight(2, static_cast<Eigen::Index>(lens_count(map)));
  double power = 1.0;
  for (Eigen::Index n = 0; n < count; ++n) {
    power *= d.squaredNorm();
    straight.col(n) = map.distortion_radius_px * power * d;
  }
  if (map.kind == MapKind::kPlane) {
    straight.rightCols<2>() = Eigen::Matrix2d::Identity() - undistortion_at(map, pixel).derivative;
  }
  return straight_jacobian(map, pixel) * straight;
}

/// d(x_mm, y_mm) / d(all that the covariance belongs to) at the pixel.
Eigen::MatrixXd parameter_jacobian(const WallMap& map, PixelPoint pixel) {
  const double depth = checked_depth_at(map, pixel);
  const Eigen::Vector2d q = own_coordinates(map, pixel);
  const WallPoint wall = wall_from_pixel(map, pixel);
  if (map.kind == MapKind::kLine) {
    Eigen::MatrixXd j = Eigen::MatrixXd::Zero(2, 3);
    j.row(0) << q.x(), 1.0, -wall.x_mm * q.x();
    return j / depth;
  }
  Eigen::MatrixXd j = Eigen::MatrixXd::Zero(2, covariance_of(map).cols());
  if (!map.distortion.empty()) {
    j.rightCols(static_cast<Eigen::Index>(lens_count(map))) = lens_jacobian(map, pixel);
  }
  if (map.kind == MapKind::kRuler) {
    j.row(0).head<5>() << q.x(), q.y(), 1.0, -wall.x_mm * q.x(), -wall.x_mm * q.y();
    j.leftCols<5>() /= depth;
    return j;
  }
  j.row(0).head<8>() << q.x(), q.y(), 1.0, 0.0, 0.0, 0.0, -wall.x_mm * q.x(), -wall.x_mm * q.y();
  j.row(1).head<8>() << 0.0, 0.0, 0.0, q.x(), q.y(), 1.0, -wall.y_mm * q.x(), -wall.y_mm * q.y();
  j.leftCols<8>() /= depth;
  return j;
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

/// By the readings, which grow along a line or ruler.
bool beyond_ends(const WallMap& map, PixelPoint pixel) {
  if (map.references.empty()) return true;
  const auto x_mm = [](const FittedReference& reference) { return reference.point.wall.x_mm; };
  const auto [first, last] = std::ranges::minmax_element(map.references, {}, x_mm);
  const double here_mm = wall_from_pixel(map, pixel).x_mm;
  return here_mm < x_mm(*first) || here_mm > x_mm(*last);
}

}  // namespace

PixelPoint picture_centre(FrameSize frame) {
  return {0.5 * (frame.width_px - 1), 0.5 * (frame.height_px - 1)};
}

double half_diagonal_px(FrameSize frame) {
  return 0.5 * std::hypot(frame.width_px, frame.height_px);
}

PixelPoint undistorted(const WallMap& map, PixelPoint pixel) {
  if (map.distortion.empty()) return pixel;
  const Eigen::Vector2d step_px = map.distortion_radius_px * undistortion_at(map, pixel).offset;
  return {pixel.x_px + step_px.x(), pixel.y_px + step_px.y()};
}

WallPoint hung_place(const WallMap& map, const ReferencePoint& point) {
  const auto page = std::ranges::find(map.pages, point.page, &PageShift::page);
  if (page == map.pages.end()) return point.wall;
  const double c = (1.0 + page->larger_relative) * std::cos(page->turn_rad);
  const double s = (1.0 + page->larger_relative) * std::sin(page->turn_rad);
  const double dx_mm = point.wall.x_mm - page->pivot.x_mm;
  const double dy_mm = point.wall.y_mm - page->pivot.y_mm;
  return {page->pivot.x_mm + page->shift_x_mm + c * dx_mm - s * dy_mm,
          page->pivot.y_mm + page->shift_y_mm + s * dx_mm + c * dy_mm};
}

bool beyond_horizon(const WallMap& map, PixelPoint pixel) {
  if (!map.distortion.empty() && !(in_lens(map, pixel).norm() < monotonic_reach(map.distortion))) {
    return true;
  }
  return !(depth_at(map, own_coordinates(map, pixel)) > 0.0);
}

WallPoint wall_from_pixel(const WallMap& map, PixelPoint pixel) {
  const Parameters p = checked_parameters(map);
  const double depth = checked_depth_at(map, pixel);
  const Eigen::Vector2d q = own_coordinates(map, pixel);
  if (map.kind == MapKind::kLine) return {(p[0] * q.x() + p[1]) / depth, 0.0};
  if (map.kind == MapKind::kRuler) return {(p[0] * q.x() + p[1] * q.y() + p[2]) / depth, 0.0};
  return {(p[0] * q.x() + p[1] * q.y() + p[2]) / depth,
          (p[3] * q.x() + p[4] * q.y() + p[5]) / depth};
}

bool behind_camera(const WallMap& map, WallPoint wall) {
  return !image_of(map, wall).has_value();
}

PixelPoint pixel_from_wall(const WallMap& map, WallPoint wall) {
  const auto pixel = image_of(map, wall);
  if (!pixel) throw std::invalid_argument("a place behind the camera has no pixel");
  return *pixel;
}

Eigen::Matrix2d jacobian(const WallMap& map, PixelPoint pixel) {
  Eigen::Matrix2d straight = straight_jacobian(map, pixel);
  if (map.distortion.empty()) return straight;
  return straight * undistortion_at(map, pixel).derivative;
}

Eigen::Matrix2d map_covariance_mm2(const WallMap& map, PixelPoint pixel) {
  const Eigen::MatrixXd j = parameter_jacobian(map, pixel);
  return j * covariance_of(map) * j.transpose();
}

Eigen::VectorXd distance_gradient(const WallMap& map, PixelPoint from, PixelPoint to) {
  const WallPoint start = wall_from_pixel(map, from);
  const WallPoint end = wall_from_pixel(map, to);
  const Eigen::Vector2d displacement_mm(end.x_mm - start.x_mm, end.y_mm - start.y_mm);
  const double distance_mm = displacement_mm.norm();
  if (distance_mm == 0.0) return Eigen::VectorXd::Zero(covariance_of(map).cols());
  const Eigen::MatrixXd difference = parameter_jacobian(map, to) - parameter_jacobian(map, from);
  return difference.transpose() * displacement_mm / distance_mm;
}

Eigen::MatrixXd covariance_matrix(const WallMap& map) {
  checked_parameters(map);
  return covariance_of(map);
}

double displacement_uncertainty_mm(const WallMap& map, PixelPoint from, PixelPoint to) {
  const Eigen::VectorXd gradient = distance_gradient(map, from, to);
  return std::sqrt(std::max(0.0, gradient.dot(covariance_of(map) * gradient)));
}

double mm_per_px(const WallMap& map, PixelPoint pixel) {
  const Eigen::Matrix2d j = jacobian(map, pixel);
  return map.kind == MapKind::kPlane ? std::sqrt(std::abs(j.determinant())) : j.row(0).norm();
}

bool extrapolates(const WallMap& map, PixelPoint pixel) {
  return map.kind == MapKind::kPlane ? outside_hull(map, pixel) : beyond_ends(map, pixel);
}

double sheet_doubt_relative(const WallMap& map) {
  double least = 0.0;  // the first sheet
  double most = 0.0;
  for (const PageShift& page : map.pages) {
    const double larger = page.larger_relative;
    const double excess2 = larger * larger - page.u_larger_relative * page.u_larger_relative;
    const double beyond = std::copysign(std::sqrt(std::max(0.0, excess2)), larger);
    least = std::min(least, beyond);
    most = std::max(most, beyond);
  }
  return (most - least) / std::numbers::sqrt2;
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
  if (map.kind != MapKind::kPlane) throw std::invalid_argument("only a plane map has a homography");
  Eigen::Matrix3d conditioning;
  conditioning << 1.0, 0.0, -map.centre.x_px, 0.0, 1.0, -map.centre.y_px, 0.0, 0.0,
      map.half_span_px;
  const Eigen::Matrix3d matrix = plane_matrix(map) * conditioning;
  std::array<double, 9> rows{};
  Eigen::Map<Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(rows.data()) = matrix;
  return rows;
}

}  // namespace nightswing::calibration
