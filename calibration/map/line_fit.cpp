#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <set>
#include <string>

#include <ceres/ceres.h>
#include <Eigen/Eigenvalues>

#include "calibration/map/fit_options.h"
#include "calibration/map/map_refusal.h"
#include "calibration/map/wall_map.h"

namespace nightswing::calibration {
namespace {

constexpr double kSignificant = 2.0;  // in standard uncertainties of c
// The widest usual camera sees 90 degrees across: its focal length is half the width of the
// picture. Of a camera of half that field the width is about the focal length (common practice, no
// source).
constexpr double kWidest = 0.5;
constexpr double kUsual = 1.0;
constexpr double kMostTurned = 60.0;  // degrees; beyond it no ticks are read by eye
constexpr double kBeside = 0.05;      // of the half span: 8 mm of 300, the length of a long tick
using Matrix3d = Eigen::Matrix<double, 3, 3, Eigen::RowMajor>;

/// A tick in coordinates of about -1 .. 1.
struct Tick {
  double s;       // along the line in the picture
  double x;       // along the ruler
  double weight;  // half span of the picture over u_px
};

struct TickResidual {
  Tick tick;

  template <typename T>
  bool operator()(const T* linear, const T* perspective, T* residual) const {
    const T s = (tick.x - linear[1]) / (linear[0] - perspective[0] * tick.x);
    residual[0] = (s - tick.s) * tick.weight;
    return true;
  }
};

struct FittedLine {
  bool converged = false;
  std::array<double, 2> linear{};  // a, b
  double perspective = 0.0;        // c
  Matrix3d covariance = Matrix3d::Zero();
  double cost = 0.0;  // half of the robust sum of squares
};

FittedLine fit_ticks(const std::vector<Tick>& ticks, std::array<double, 2> start, bool projective) {
  FittedLine result{.linear = start};
  ceres::Problem problem;
  double stiffness = 0.0;
  for (const Tick& tick : ticks) {
    stiffness += tick.weight * tick.weight;
    auto* cost = new ceres::AutoDiffCostFunction<TickResidual, 1, 2, 1>(new TickResidual{tick});
    problem.AddResidualBlock(
        cost, new ceres::HuberLoss(kHuberBend), result.linear.data(), &result.perspective);
  }
  if (!projective) problem.SetParameterBlockConstant(&result.perspective);
  // 1e-13 of the half span is far below any use, and above the rounding of exact points, beyond
  // which no step lowers the cost any more.
  const auto options = fit_options(1e-13 * stiffness);
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  result.cost = summary.final_cost;
  if (!summary.IsSolutionUsable()) return result;

  ceres::Covariance::Options covariance_options;
  covariance_options.algorithm_type = ceres::DENSE_SVD;
  ceres::Covariance covariance(covariance_options);
  const std::vector<const double*> blocks{result.linear.data(), &result.perspective};
  if (!covariance.Compute(blocks, &problem)) return result;
  covariance.GetCovarianceMatrix(blocks, result.covariance.data());
  result.converged = result.covariance.allFinite();
  return result;
}

/// Sets centre, direction and half span: the line of least squared distance to the points, in the
/// sense in which the numbers of the ruler grow.
void lay_line(std::span<const LineReference> points, WallMap& map) {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
  double mean_mm = 0.0;
  const auto count = static_cast<double>(points.size());
  for (const LineReference& p : points) {
    centre += Eigen::Vector2d(p.pixel.x_px, p.pixel.y_px) / count;
    mean_mm += p.x_mm / count;
  }
  Eigen::Matrix2d scatter = Eigen::Matrix2d::Zero();
  Eigen::Vector2d growth = Eigen::Vector2d::Zero();
  for (const LineReference& p : points) {
    const Eigen::Vector2d offset = Eigen::Vector2d(p.pixel.x_px, p.pixel.y_px) - centre;
    scatter += offset * offset.transpose();
    growth += offset * (p.x_mm - mean_mm);
  }
  Eigen::Vector2d direction =
      Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d>(scatter).eigenvectors().col(1);
  if (direction.dot(growth) < 0.0) direction = -direction;
  map.kind = MapKind::kLine;
  map.centre = {centre.x(), centre.y()};
  map.direction_x = direction.x();
  map.direction_y = direction.y();
  map.half_span_px = 0.0;
  for (const LineReference& p : points) {
    const Eigen::Vector2d offset = Eigen::Vector2d(p.pixel.x_px, p.pixel.y_px) - centre;
    map.half_span_px = std::max(map.half_span_px, std::abs(direction.dot(offset)));
  }
}

/// Whether the numbers grow along the line wherever two ticks can be told apart.
bool in_order(std::vector<Tick> ticks) {
  std::ranges::sort(ticks, {}, &Tick::s);
  for (std::size_t i = 1; i < ticks.size(); ++i) {
    const double distinct = 4.0 / std::min(ticks[i].weight, ticks[i - 1].weight);
    if (ticks[i].s - ticks[i - 1].s > distinct && ticks[i].x <= ticks[i - 1].x) return false;
  }
  return true;
}

/// Least squares straight line through (s, x) as start.
std::array<double, 2> straight_start(const std::vector<Tick>& ticks) {
  double s = 0.0;
  double x = 0.0;
  double ss = 0.0;
  double sx = 0.0;
  const auto count = static_cast<double>(ticks.size());
  for (const Tick& t : ticks) {
    s += t.s / count;
    x += t.x / count;
    ss += t.s * t.s / count;
    sx += t.s * t.x / count;
  }
  const double slope = (sx - s * x) / (ss - s * s);
  return {slope, x - slope * s};
}

/// The straight map, or the projective one where it can be told and is significant; the covariance
/// and cost are always those of the fullest model that the ticks can decide.
FittedLine best_fit(const std::vector<Tick>& ticks, bool checks_perspective) {
  FittedLine straight = fit_ticks(ticks, straight_start(ticks), false);
  if (!checks_perspective || !straight.converged) return straight;
  FittedLine projective = fit_ticks(ticks, straight.linear, true);
  const double u = std::sqrt(projective.covariance(2, 2));
  if (!projective.converged || std::abs(projective.perspective) > kSignificant * u) {
    return projective;
  }
  straight.covariance = projective.covariance;
  straight.cost = projective.cost;
  return straight;
}

/// Whether the map can be a photograph of its own reference points; if so, fills their residuals,
/// which include the distance of the point from the line.
bool sees_its_ticks(WallMap& map) {
  for (FittedReference& reference : map.references) {
    const ReferencePoint& point = reference.point;
    if (beyond_horizon(map, point.pixel) || behind_camera(map, point.wall)) return false;
    const PixelPoint fitted = pixel_from_wall(map, point.wall);
    reference.residual_x_px = point.pixel.x_px - fitted.x_px;
    reference.residual_y_px = point.pixel.y_px - fitted.y_px;
  }
  return true;
}

/// Fills parameters and covariance: x_mm = centre + half_span X is linear in (a, b, c).
void store_line(const FittedLine& fit, double centre_mm, double half_span_mm, WallMap& map) {
  Matrix3d to_mm = Matrix3d::Zero();
  to_mm << half_span_mm, 0.0, centre_mm, 0.0, half_span_mm, 0.0, 0.0, 0.0, 1.0;
  Eigen::Vector3d p = to_mm * Eigen::Vector3d(fit.linear[0], fit.linear[1], fit.perspective);
  p[1] += centre_mm;
  const Matrix3d covariance =
      to_mm * fit.covariance * to_mm.transpose() * std::max(1.0, map.reduced_chi2);
  map.parameters.assign(p.data(), p.data() + p.size());
  map.covariance.assign(covariance.data(), covariance.data() + covariance.size());
}

/// How far the farthest place lies beside the line.
double most_beside_px(const WallMap& map) {
  double most_px = 0.0;
  for (const FittedReference& reference : map.references) {
    const double across_px = (reference.point.pixel.y_px - map.centre.y_px) * map.direction_x -
                             (reference.point.pixel.x_px - map.centre.x_px) * map.direction_y;
    most_px = std::max(most_px, std::abs(across_px));
  }
  return most_px;
}

/// By how many degrees a ruler of this perspective c is turned out of the plane of the picture, for
/// a camera of this focal length: its vanishing point lies focal / tan(turn) from the middle of the
/// picture (Hartley, Zisserman: Multiple View Geometry, 2nd ed. 2004, section 8.6, from memory).
double turned_degrees(const WallMap& map, double perspective, double focal_px) {
  if (perspective == 0.0) return 0.0;
  const double along_px = -map.half_span_px / perspective;
  const double x_px = map.centre.x_px + along_px * map.direction_x;
  const double y_px = map.centre.y_px + along_px * map.direction_y;
  const PixelPoint middle = picture_centre(map.frame);
  const double off_px = std::hypot(x_px - middle.x_px, y_px - middle.y_px);
  return std::atan2(focal_px, off_px) * 180.0 / std::numbers::pi;
}

/// Whether even the widest usual camera sees a ruler so only if it is turned too far to be read.
bool turned_too_far(const WallMap& map) {
  const double c = map.parameters[2];
  const double sure = std::abs(c) - kSure * std::sqrt(map.covariance[8]);
  return map.frame.width_px > 0 && sure > 0.0 &&
         turned_degrees(map, std::copysign(sure, c), kWidest * map.frame.width_px) > kMostTurned;
}

std::string note_of_three_ticks(const WallMap& map) {
  std::string note =
      "three places on the ruler fit any perspective, so nothing checks their readings";
  if (map.frame.width_px > 0) {
    const double degrees = turned_degrees(map, map.parameters[2], kUsual * map.frame.width_px);
    note += ", by which the ruler is turned some " + std::to_string(std::lround(degrees)) +
            " degrees away from the camera: if it is not, one of them is wrong";
  }
  return note + "; add a fourth";
}

std::string note_of_line(const WallMap& map, bool perspective_checked) {
  if (!perspective_checked) {
    return "two places on the ruler cannot show perspective, so it could not be checked; add a "
           "third place between or beyond them";
  }
  const double beside_px = most_beside_px(map);
  if (beside_px > kBeside * map.half_span_px) {
    return "the places do not lie along one straight ruler, one is " +
           std::to_string(std::lround(beside_px)) +
           " px beside the line; check whether a pixel was mistyped";
  }
  if (map.degrees_of_freedom == 0) {
    return note_of_three_ticks(map);
  }
  if (map.reduced_chi2 <= kWorstReducedChi2) return {};
  return "the places on the ruler scatter " +
         std::to_string(std::lround(std::sqrt(map.reduced_chi2))) +
         " times more than their uncertainties; check whether a number was mistyped";
}

}  // namespace

MapFit fit_line_map(std::span<const LineReference> points, FrameSize frame) {
  check_ticks(points);
  std::set<double> numbers_mm;
  for (const LineReference& p : points) numbers_mm.insert(p.x_mm);
  if (points.size() < 2) {
    return refusal(MapStatus::kTooFewPoints,
                   "a line map needs at least 2 places on the ruler, but there is only " +
                       std::to_string(points.size()) + "; add more");
  }
  WallMap map;
  map.frame = frame;
  lay_line(points, map);
  const double largest_u_px = std::ranges::max(points, {}, &LineReference::u_px).u_px;
  if (numbers_mm.size() < 2 || map.half_span_px <= 3.0 * largest_u_px) {
    return refusal(MapStatus::kDegenerate,
                   "the places on the ruler coincide, which does not fix a map; choose places far "
                   "apart");
  }
  const double centre_mm = (*numbers_mm.begin() + *numbers_mm.rbegin()) / 2.0;
  const double half_span_mm = (*numbers_mm.rbegin() - *numbers_mm.begin()) / 2.0;
  std::vector<Tick> ticks;
  for (const LineReference& p : points) {
    const double along_px = (p.pixel.x_px - map.centre.x_px) * map.direction_x +
                            (p.pixel.y_px - map.centre.y_px) * map.direction_y;
    ticks.push_back({.s = along_px / map.half_span_px,
                     .x = (p.x_mm - centre_mm) / half_span_mm,
                     .weight = map.half_span_px / p.u_px});
    map.references.push_back({.point = {.pixel = p.pixel, .wall = {p.x_mm, 0.0}, .u_px = p.u_px}});
  }
  if (!in_order(ticks)) {
    return refusal(MapStatus::kNotAView,
                   "the numbers of the ruler do not grow along the line through the places; check "
                   "whether two of them were swapped or a number was mistyped");
  }
  const bool checks_perspective = numbers_mm.size() > 2;
  const FittedLine fit = best_fit(ticks, checks_perspective);
  if (!fit.converged) {
    return refusal(MapStatus::kNotConverged,
                   "the line map could not be fitted to the places on the ruler; check them for "
                   "mistyped numbers");
  }
  map.degrees_of_freedom = static_cast<int>(points.size()) - (checks_perspective ? 3 : 2);
  if (map.degrees_of_freedom > 0) map.reduced_chi2 = 2.0 * fit.cost / map.degrees_of_freedom;
  store_line(fit, centre_mm, half_span_mm, map);
  if (!sees_its_ticks(map)) {
    return refusal(
        MapStatus::kNotAView,
        "no camera can see one straight ruler with the places where they are given; check "
        "whether a number was mistyped");
  }
  if (turned_too_far(map)) {
    return refusal(MapStatus::kNotAView,
                   "no usual camera can read a ruler with these places where they are given; check "
                   "whether a number was mistyped");
  }
  map.note = note_of_line(map, checks_perspective);
  return {.status = MapStatus::kFitted, .message = map.note, .map = map};
}

}  // namespace nightswing::calibration
