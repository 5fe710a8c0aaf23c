#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>
#include <string>
#include <utility>

#include <ceres/ceres.h>
#include <Eigen/Geometry>
#include <Eigen/LU>
#include <Eigen/SVD>

#include "calibration/wall_map.h"

namespace nightswing::calibration {
namespace {

constexpr int kParameters = 8;
constexpr double kHuberBend = 3.0;         // in standard uncertainties
constexpr double kFlatness = 1e-3;         // of the half span: nearer to a line is on the line
constexpr double kWorstReducedChi2 = 9.0;  // residuals three times the stated ones deserve a word
using Matrix8d = Eigen::Matrix<double, kParameters, kParameters>;
using Vector8d = Eigen::Matrix<double, kParameters, 1>;

/// Centre and half span that bring coordinates to about -1 .. 1, without which the equations of the
/// direct linear transform lose most of their digits (Hartley, Zisserman, section 4.4).
struct Conditioning {
  Eigen::Vector2d centre;
  double half_span;
  Eigen::Vector2d operator()(const Eigen::Vector2d& p) const { return (p - centre) / half_span; }
};

Conditioning conditioning_of(const std::vector<Eigen::Vector2d>& points) {
  Eigen::Vector2d sum = Eigen::Vector2d::Zero();
  for (const auto& p : points) sum += p;
  Conditioning result{sum / static_cast<double>(points.size()), 0.0};
  for (const auto& p : points) {
    result.half_span = std::max(result.half_span, (p - result.centre).cwiseAbs().maxCoeff());
  }
  return result;
}

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

/// Whether both the places on the wall and their pixels, within their uncertainty, fix a
/// homography.
bool fixes_a_plane(std::span<const ReferencePoint> points,
                   const std::vector<Eigen::Vector2d>& pixels,
                   const std::vector<Eigen::Vector2d>& walls) {
  std::vector<double> u_px;
  for (const ReferencePoint& p : points) u_px.push_back(p.u_px);
  std::ranges::sort(u_px);
  const double typical_u_px = u_px[u_px.size() / 2];
  return four_in_general_position(walls, kFlatness * conditioning_of(walls).half_span) &&
         four_in_general_position(
             pixels, std::max(3.0 * typical_u_px, kFlatness * conditioning_of(pixels).half_span));
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

/// Predicted minus measured pixel in standard uncertainties, as a function of h0 .. h7 (last
/// element 1), which lead the other way; so the matrix is inverted (adjugate, its factor cancels).
struct PixelResidual {
  Eigen::Vector2d pixel;  // conditioned
  Eigen::Vector2d wall;   // conditioned
  double weight;          // half span of the picture over u_px

  template <typename T>
  bool operator()(const T* h, T* residual) const {
    const T x = T(wall.x());
    const T y = T(wall.y());
    const T u = (h[4] - h[5] * h[7]) * x + (h[2] * h[7] - h[1]) * y + (h[1] * h[5] - h[2] * h[4]);
    const T v = (h[5] * h[6] - h[3]) * x + (h[0] - h[2] * h[6]) * y + (h[2] * h[3] - h[0] * h[5]);
    const T w = (h[3] * h[7] - h[4] * h[6]) * x + (h[1] * h[6] - h[0] * h[7]) * y +
                (h[0] * h[4] - h[1] * h[3]);
    residual[0] = (u / w - pixel.x()) * weight;
    residual[1] = (v / w - pixel.y()) * weight;
    return true;
  }
};

struct Refined {
  bool converged = false;
  Vector8d h = Vector8d::Zero();
  Matrix8d covariance = Matrix8d::Zero();
  double cost = 0.0;  // half of the robust sum of squares
};

Refined refine(const Eigen::Matrix3d& start, const std::vector<PixelResidual>& residuals) {
  Refined result;
  result.h << start(0, 0), start(0, 1), start(0, 2), start(1, 0), start(1, 1), start(1, 2),
      start(2, 0), start(2, 1);
  ceres::Problem problem;
  double stiffness = 0.0;
  for (const PixelResidual& residual : residuals) {
    stiffness += residual.weight * residual.weight;
    auto* cost =
        new ceres::AutoDiffCostFunction<PixelResidual, 2, kParameters>(new PixelResidual(residual));
    problem.AddResidualBlock(cost, new ceres::HuberLoss(kHuberBend), result.h.data());
  }
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_QR;
  options.max_num_iterations = 200;
  options.function_tolerance = 1e-16;
  // Gradient over stiffness is the distance from the minimum: 1e-13 of the half span is far below
  // any use, and above the rounding of exact points, beyond which no step lowers the cost any more.
  options.gradient_tolerance = 1e-13 * stiffness;
  options.parameter_tolerance = 1e-14;
  options.logging_type = ceres::SILENT;
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  result.cost = summary.final_cost;
  if (!summary.IsSolutionUsable() || !result.h.allFinite()) return result;

  ceres::Covariance::Options covariance_options;
  covariance_options.algorithm_type = ceres::DENSE_SVD;
  ceres::Covariance covariance(covariance_options);
  const std::vector<const double*> blocks{result.h.data()};
  if (!covariance.Compute(blocks, &problem)) return result;
  Eigen::Matrix<double, kParameters, kParameters, Eigen::RowMajor> matrix;
  covariance.GetCovarianceBlock(result.h.data(), result.h.data(), matrix.data());
  result.covariance = matrix;
  result.converged = result.covariance.allFinite();
  return result;
}

/// Fills parameters and covariance: x_mm = centre + half_span X is linear in the conditioned h.
void store_in_mm(const Refined& refined, const Conditioning& wall, double inflation, WallMap& map) {
  Matrix8d to_mm = Matrix8d::Identity();
  to_mm.topLeftCorner<6, 6>() *= wall.half_span;
  to_mm(0, 6) = to_mm(1, 7) = wall.centre.x();
  to_mm(3, 6) = to_mm(4, 7) = wall.centre.y();
  Vector8d h = to_mm * refined.h;
  h[2] += wall.centre.x();
  h[5] += wall.centre.y();
  const Matrix8d covariance = to_mm * refined.covariance * to_mm.transpose() * inflation;
  map.parameters.assign(h.data(), h.data() + kParameters);
  map.covariance.assign(covariance.data(), covariance.data() + covariance.size());
}

void check_numbers(std::span<const ReferencePoint> points) {
  for (const ReferencePoint& p : points) {
    if (!std::isfinite(p.pixel.x_px) || !std::isfinite(p.pixel.y_px) ||
        !std::isfinite(p.wall.x_mm) || !std::isfinite(p.wall.y_mm) || !std::isfinite(p.u_px) ||
        p.u_px <= 0.0) {
      throw std::invalid_argument("a reference point needs finite places and a positive u_px");
    }
  }
}

/// Whether the map can be a photograph of its own reference points; if so, fills their residuals.
bool sees_its_references(WallMap& map) {
  for (FittedReference& reference : map.references) {
    const ReferencePoint& point = reference.point;
    if (beyond_horizon(map, point.pixel) || behind_camera(map, point.wall)) return false;
    const PixelPoint fitted = pixel_from_wall(map, point.wall);
    reference.residual_x_px = point.pixel.x_px - fitted.x_px;
    reference.residual_y_px = point.pixel.y_px - fitted.y_px;
  }
  return true;
}

MapFit refusal(MapStatus status, std::string message) {
  return {.status = status, .message = std::move(message), .map = {}};
}

MapFit not_a_view() {
  return refusal(MapStatus::kNotAView,
                 "no camera can see a flat wall with the reference points where they are given; "
                 "check whether two of them were swapped or a coordinate was mistyped");
}

std::string note_of(const WallMap& map) {
  if (map.degrees_of_freedom == 0) {
    return "four points fit any plane, so nothing checks the map; add a fifth point";
  }
  if (map.reduced_chi2 <= kWorstReducedChi2) return {};
  return "the reference points scatter " +
         std::to_string(std::lround(std::sqrt(map.reduced_chi2))) +
         " times more than their uncertainties; check that the scale lies flat, that its pages "
         "join without a gap, that the lens bends no straight line and that no point is mistaken";
}

}  // namespace

MapFit fit_plane_map(std::span<const ReferencePoint> points, FrameSize frame) {
  check_numbers(points);
  if (points.size() < 4) {
    return refusal(MapStatus::kTooFewPoints,
                   "a map of the wall needs at least 4 reference points, but there are only " +
                       std::to_string(points.size()) + "; add more");
  }
  std::vector<Eigen::Vector2d> pixels;
  std::vector<Eigen::Vector2d> walls;
  WallMap map;
  for (const ReferencePoint& p : points) {
    pixels.emplace_back(p.pixel.x_px, p.pixel.y_px);
    walls.emplace_back(p.wall.x_mm, p.wall.y_mm);
    map.references.push_back({.point = p});
  }
  if (!fixes_a_plane(points, pixels, walls)) {
    return refusal(MapStatus::kDegenerate,
                   "the reference points (or all but one of them) lie on one line or in one place, "
                   "which does not fix a map of the wall; add points above or below that line, or "
                   "fit a line map");
  }
  const Conditioning from_pixel = conditioning_of(pixels);
  const Conditioning from_wall = conditioning_of(walls);
  std::vector<PixelResidual> residuals;
  for (std::size_t i = 0; i < points.size(); ++i) {
    pixels[i] = from_pixel(pixels[i]);
    walls[i] = from_wall(walls[i]);
    residuals.push_back({pixels[i], walls[i], from_pixel.half_span / points[i].u_px});
  }
  map.kind = MapKind::kPlane;
  map.frame = frame;
  map.centre = {from_pixel.centre.x(), from_pixel.centre.y()};
  map.half_span_px = from_pixel.half_span;
  // A horizon through the middle of the points makes the last element vanish: not a view either.
  const Eigen::Matrix3d start = direct_linear_transform(pixels, walls);
  if (!start.allFinite() || !sees_all(start, pixels, walls)) return not_a_view();
  const Refined refined = refine(start, residuals);
  if (!refined.converged) {
    return refusal(MapStatus::kNotConverged,
                   "the map of the wall could not be fitted to the reference points; check them "
                   "for mistyped coordinates");
  }
  map.degrees_of_freedom = 2 * static_cast<int>(points.size()) - kParameters;
  if (map.degrees_of_freedom > 0) map.reduced_chi2 = 2.0 * refined.cost / map.degrees_of_freedom;
  store_in_mm(refined, from_wall, std::max(1.0, map.reduced_chi2), map);
  if (!sees_its_references(map)) return not_a_view();
  map.note = note_of(map);
  return {.status = MapStatus::kFitted, .message = map.note, .map = map};
}

}  // namespace nightswing::calibration
