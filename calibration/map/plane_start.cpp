#include "calibration/map/plane_start.h"

#include <algorithm>
#include <array>
#include <utility>

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <Eigen/SVD>

#include "calibration/map/median.h"

namespace nightswing::calibration {
namespace {

constexpr double kFlatness = 1e-3;  // of the half span: nearer to a line is on the line

/// The points off the line through a and b by more than the tolerance.
std::vector<Eigen::Vector2d> points_off_line(const std::vector<Eigen::Vector2d>& points,
                                             const Eigen::Vector2d& a,
                                             const Eigen::Vector2d& b,
                                             double tolerance) {
  const Eigen::Hyperplane<double, 2> line = Eigen::Hyperplane<double, 2>::Through(a, b);
  std::vector<Eigen::Vector2d> off;
  for (const auto& p : points) {
    if (line.absDistance(p) > tolerance) off.push_back(p);
  }
  return off;
}

/// Whether four of the points are such that no three lie on one line, that is, whether no line
/// holds all places or all but one. If some line does, then of any three distinct places two lie on
/// it, so that the three sides of one wide triangle are the only candidates.
bool four_in_general_position(const std::vector<Eigen::Vector2d>& points, double tolerance) {
  const auto farthest_from = [&points](const Eigen::Vector2d& from) {
    return *std::ranges::max_element(
        points, {}, [&from](const Eigen::Vector2d& p) { return (p - from).squaredNorm(); });
  };
  const Eigen::Vector2d a = farthest_from(conditioning_of(points).centre);
  const Eigen::Vector2d b = farthest_from(a);
  if ((b - a).norm() <= tolerance) return false;
  const auto base = Eigen::Hyperplane<double, 2>::Through(a, b);
  const Eigen::Vector2d c = *std::ranges::max_element(
      points, {}, [&base](const Eigen::Vector2d& p) { return base.absDistance(p); });
  if (base.absDistance(c) <= tolerance) return false;
  const std::array<std::array<Eigen::Vector2d, 2>, 3> sides{{{a, b}, {b, c}, {c, a}}};
  return std::ranges::all_of(sides, [&](const auto& side) {
    const auto off = points_off_line(points, side[0], side[1], tolerance);
    return std::ranges::any_of(off,
                               [&](const auto& p) { return (p - off.front()).norm() > tolerance; });
  });
}

/// Direct linear transform: the matrix that takes each (u, v, 1) to its (X, Y, 1) times a factor,
/// exact for exact points, divided by its last element.
Eigen::Matrix3d direct_linear_transform(const std::vector<Eigen::Vector2d>& from,
                                        const std::vector<Eigen::Vector2d>& to) {
  Eigen::MatrixXd equations(2 * from.size(), 9);
  for (std::size_t i = 0; i < from.size(); ++i) {
    const Eigen::RowVector3d p(from[i].x(), from[i].y(), 1.0);
    const auto row = static_cast<Eigen::Index>(2 * i);
    equations.row(row) << p, Eigen::RowVector3d::Zero(), -to[i].x() * p;
    equations.row(row + 1) << Eigen::RowVector3d::Zero(), p, -to[i].y() * p;
  }
  const Eigen::JacobiSVD<Eigen::MatrixXd> svd(equations, Eigen::ComputeFullV);
  const Eigen::Matrix<double, 9, 1> h = svd.matrixV().col(8);
  Eigen::Matrix3d matrix;
  matrix << h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8];
  return matrix / h[8];
}

/// Whether the matrix has all points in front of the camera, on either side.
bool sees_all(const Eigen::Matrix3d& matrix,
              const std::vector<Eigen::Vector2d>& pixels,
              const std::vector<Eigen::Vector2d>& walls) {
  const Eigen::Matrix3d inverse = matrix.inverse();
  const auto in_front = [](const Eigen::Matrix3d& m, const Eigen::Vector2d& p) {
    return m.row(2).dot(Eigen::Vector3d(p.x(), p.y(), 1.0)) > 0.0;  // false for NaN
  };
  return std::ranges::all_of(pixels, [&](const auto& p) { return in_front(matrix, p); }) &&
         std::ranges::all_of(walls, [&](const auto& p) { return in_front(inverse, p); });
}

}  // namespace

Conditioning conditioning_of(const std::vector<Eigen::Vector2d>& points) {
  Eigen::Vector2d sum = Eigen::Vector2d::Zero();
  for (const auto& p : points) sum += p;
  Conditioning result{sum / static_cast<double>(points.size()), 0.0};
  for (const auto& p : points) {
    result.half_span = std::max(result.half_span, (p - result.centre).cwiseAbs().maxCoeff());
  }
  return result;
}

bool fixes_a_plane(std::span<const ReferencePoint> points) {
  std::vector<Eigen::Vector2d> pixels;
  std::vector<Eigen::Vector2d> walls;
  std::vector<double> u_px;
  for (const ReferencePoint& p : points) {
    pixels.emplace_back(p.pixel.x_px, p.pixel.y_px);
    walls.emplace_back(p.wall.x_mm, p.wall.y_mm);
    u_px.push_back(p.u_px);
  }
  const double typical_u_px = upper_median_of(std::move(u_px));
  return four_in_general_position(walls, kFlatness * conditioning_of(walls).half_span) &&
         four_in_general_position(
             pixels, std::max(3.0 * typical_u_px, kFlatness * conditioning_of(pixels).half_span));
}

std::optional<Eigen::Matrix3d> seen_plane(const std::vector<Eigen::Vector2d>& pixels,
                                          const std::vector<Eigen::Vector2d>& walls) {
  // A horizon through the middle of the points makes the last element vanish: not a view either.
  const Eigen::Matrix3d matrix = direct_linear_transform(pixels, walls);
  if (!matrix.allFinite() || !sees_all(matrix, pixels, walls)) return std::nullopt;
  return matrix;
}

}  // namespace nightswing::calibration
