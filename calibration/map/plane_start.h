#pragma once

#include <optional>
#include <span>
#include <vector>

#include <Eigen/Core>

#include "calibration/map/wall_map.h"

/// Where the fit of a plane map begins: whether its points fix a plane at all, and which.
namespace nightswing::calibration {

/// Centre and half span that bring coordinates to about -1 .. 1, without which the equations of the
/// direct linear transform lose most of their digits (Hartley, Zisserman: Multiple View Geometry,
/// 2nd ed. 2004, section 4.4).
struct Conditioning {
  Eigen::Vector2d centre;
  double half_span;
  Eigen::Vector2d operator()(const Eigen::Vector2d& p) const { return (p - centre) / half_span; }
};

/// points  at least one.
[[nodiscard]] Conditioning conditioning_of(const std::vector<Eigen::Vector2d>& points);

/// Whether both the places on the wall and their pixels, within their uncertainty, fix a
/// homography.
[[nodiscard]] bool fixes_a_plane(std::span<const ReferencePoint> points);

/// The matrix that takes each (u, v, 1) to its (X, Y, 1) times a factor, exact for exact points,
/// with 1 as its last element; none if no camera can see these places so.
///   pixels, walls  as many of each, conditioned, among them four of which no three are collinear.
/// source  direct linear transform, ibid. section 4.1
[[nodiscard]] std::optional<Eigen::Matrix3d> seen_plane(const std::vector<Eigen::Vector2d>& pixels,
                                                        const std::vector<Eigen::Vector2d>& walls);

}  // namespace nightswing::calibration
