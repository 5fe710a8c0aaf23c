#include "calibration/map/ruler_map.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>
#include <stdexcept>

#include <ceres/ceres.h>
#include <Eigen/Dense>

#include "calibration/map/fit_options.h"
#include "calibration/map/lens.h"
#include "calibration/map/linearised_fit.h"
#include "calibration/map/map_refusal.h"
#include "calibration/map/scatter_components.h"

namespace nightswing::calibration {
namespace {

constexpr int kProjective = 5;  // p0 p1 p2 q0 q1; the terms of the lens follow
constexpr int kCount = kProjective + static_cast<int>(kLensTerms);
using SquareMatrix = Eigen::Matrix<double, kCount, kCount, Eigen::RowMajor>;

/// A point in coordinates of about -1 .. 1.
struct Point {
  Eigen::Vector2d place;                           // without lens
  Eigen::Matrix<double, 2, int{kLensTerms}> lens;  // what each term, being 1, adds to it
  double x;
  double weight;  // half span in the picture over u_px
};

struct AcrossTick {
  Point point;

  template <typename T>
  bool operator()(const T* p, T* residual) const {
    T u(point.place.x());
    T v(point.place.y());
    for (int term = 0; term < int{kLensTerms}; ++term) {
      u += p[kProjective + term] * point.lens(0, term);
      v += p[kProjective + term] * point.lens(1, term);
    }
    const T depth = p[3] * u + p[4] * v + 1.0;
    const T x = (p[0] * u + p[1] * v + p[2]) / depth;
    // The gradient without that of the lens, which changes it by a share of k1 only.
    const T gx = (p[0] - x * p[3]) / depth;
    const T gy = (p[1] - x * p[4]) / depth;
    using std::sqrt;
    residual[0] = (x - point.x) * point.weight / sqrt(gx * gx + gy * gy);
    return true;
  }
};

struct LensBeforehand {
  template <typename T>
  bool operator()(const T* p, T* residual) const {
    for (std::size_t term = 0; term < kLensTerms; ++term) {
      residual[term] = p[kProjective + term] / kUsualLens[term];
    }
    return true;
  }
};

struct FittedRuler {
  bool converged = false;
  std::array<double, kCount> parameters{};
  SquareMatrix covariance = SquareMatrix::Zero();
  double cost = 0.0;  // half of the robust sum of squares
};

/// Linear start without lens: x W = p0 u + p1 v + p2 in least squares.
std::array<double, kCount> linear_start(const std::vector<Point>& points) {
  const auto count = static_cast<Eigen::Index>(points.size());
  Eigen::MatrixXd rows(count, 5);
  Eigen::VectorXd values(count);
  for (Eigen::Index i = 0; i < count; ++i) {
    const Point& p = points[static_cast<std::size_t>(i)];
    rows.row(i) << p.place.x(), p.place.y(), 1.0, -p.x * p.place.x(), -p.x * p.place.y();
    rows.row(i) *= p.weight;
    values[i] = p.x * p.weight;
  }
  const Eigen::VectorXd fit = rows.colPivHouseholderQr().solve(values);
  return {fit[0], fit[1], fit[2], fit[3], fit[4]};
}

/// The rows of one tick.
struct TickRows {
  Eigen::VectorXd residuals;
  Eigen::Matrix<double, Eigen::Dynamic, kCount> jacobian;

  [[nodiscard]] double root_count() const {
    return std::sqrt(static_cast<double>(residuals.size()));
  }
  /// What its points have in common, of unit variance if they are independent of unit variance.
  [[nodiscard]] double common() const { return residuals.sum() / root_count(); }
  [[nodiscard]] Eigen::Matrix<double, 1, kCount> common_row() const {
    return jacobian.colwise().sum() / root_count();
  }
};

/// fit  a row for each point, in their order, then what is known beforehand.
std::vector<TickRows> rows_of_ticks(const std::vector<Point>& points, const LinearisedFit& fit) {
  std::vector<TickRows> ticks;
  for (std::size_t from = 0; from < points.size();) {
    std::size_t to = from + 1;
    while (to < points.size() && points[to].x == points[from].x) ++to;
    const auto first = static_cast<Eigen::Index>(from);
    const auto count = static_cast<Eigen::Index>(to - from);
    ticks.push_back({.residuals = fit.residuals.segment(first, count),
                     .jacobian = fit.jacobian.middleRows(first, count)});
    from = to;
  }
  return ticks;
}

/// Variances over those stated of the places of the ticks (what the points of one have in common)
/// and of their tilts (in what they differ): these are disturbed by different things, and the tilts
/// decide how well the map holds beside the ruler.
struct TickScatter {
  double place = 1.0;
  double tilt = 1.0;
};

/// inverse  of the information of all rows: how much of the scatter the fit has absorbed.
TickScatter tick_scatter(const std::vector<TickRows>& ticks, const SquareMatrix& inverse) {
  TickScatter squares{0.0, 0.0};
  TickScatter freedom{0.0, 0.0};
  for (const TickRows& tick : ticks) {
    const double common2 = tick.common() * tick.common();
    const auto row = tick.common_row();
    const double absorbed = (row * inverse * row.transpose()).value();
    squares.place += common2;
    freedom.place += 1.0 - absorbed;
    squares.tilt += tick.residuals.squaredNorm() - common2;
    freedom.tilt += static_cast<double>(tick.residuals.size()) - 1.0 -
                    ((tick.jacobian * inverse * tick.jacobian.transpose()).trace() - absorbed);
  }
  // At least 1: what is known of the pixels themselves is no overestimate.
  const auto variance = [](double sum, double count) {
    return count > kLeastFreedom ? std::max(1.0, sum / count) : 1.0;
  };
  return {.place = variance(squares.place, freedom.place),
          .tilt = variance(squares.tilt, freedom.tilt)};
}

/// Covariance of the parameters found by weights that know nothing of what a tick's points have in
/// common: H^-1 J^T V J H^-1, H = J^T J.
/// source  P. J. Huber, Proc. Fifth Berkeley Symp. Math. Stat. Prob. 1 (1967) 221, from memory
std::optional<SquareMatrix> robust_covariance(const std::vector<Point>& points,
                                              const LinearisedFit& fit) {
  const SquareMatrix information = fit.jacobian.transpose() * fit.jacobian;
  const Eigen::LDLT<SquareMatrix> cholesky(information);
  if (cholesky.info() != Eigen::Success || !cholesky.isPositive()) return std::nullopt;
  const SquareMatrix inverse = cholesky.solve(SquareMatrix::Identity());
  const auto known = fit.jacobian.bottomRows<static_cast<int>(kLensTerms)>();
  const std::vector<TickRows> ticks = rows_of_ticks(points, fit);
  const TickScatter scatter = tick_scatter(ticks, inverse);
  SquareMatrix spread = known.transpose() * known;
  for (const TickRows& tick : ticks) {
    const auto row = tick.common_row();
    spread += scatter.tilt * tick.jacobian.transpose() * tick.jacobian +
              (scatter.place - scatter.tilt) * row.transpose() * row;
  }
  const SquareMatrix covariance = inverse * spread * inverse;
  return covariance.allFinite() ? std::optional(covariance) : std::nullopt;
}

FittedRuler fit_points(const std::vector<Point>& points) {
  FittedRuler result{.parameters = linear_start(points)};
  double* const p = result.parameters.data();
  ceres::Problem problem;
  double stiffness = 0.0;
  for (const Point& point : points) {
    stiffness += point.weight * point.weight;
    auto* cost = new ceres::AutoDiffCostFunction<AcrossTick, 1, kCount>(new AcrossTick{point});
    problem.AddResidualBlock(cost, new ceres::HuberLoss(kHuberBend), p);
  }
  problem.AddResidualBlock(
      new ceres::AutoDiffCostFunction<LensBeforehand, int{kLensTerms}, kCount>(new LensBeforehand),
      nullptr,
      p);
  const auto options = fit_options(1e-12 * stiffness);  // of the half span
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  result.cost = summary.final_cost;
  if (!summary.IsSolutionUsable()) return result;
  const auto at_minimum = linearised(problem, {p});
  const auto covariance = at_minimum ? robust_covariance(points, *at_minimum) : std::nullopt;
  result.converged = covariance.has_value();
  if (covariance) result.covariance = *covariance;
  return result;
}

/// What each term of the lens, being 1, adds to a pixel, in half spans.
Eigen::Matrix<double, 2, int{kLensTerms}> lens_steps(const WallMap& map, PixelPoint pixel) {
  const Eigen::Vector2d d((pixel.x_px - map.distortion_centre.x_px) / map.distortion_radius_px,
                          (pixel.y_px - map.distortion_centre.y_px) / map.distortion_radius_px);
  Eigen::Matrix<double, 2, int{kLensTerms}> steps;
  Eigen::Vector2d step = d * map.distortion_radius_px / map.half_span_px;
  for (Eigen::Index term = 0; term < steps.cols(); ++term) {
    step *= d.squaredNorm();
    steps.col(term) = step;
  }
  return steps;
}

/// Where the pixel lies without the lens, in half spans.
Eigen::Vector2d plain(const WallMap& map, PixelPoint pixel) {
  return {(pixel.x_px - map.centre.x_px) / map.half_span_px,
          (pixel.y_px - map.centre.y_px) / map.half_span_px};
}

/// What x_mm -> scale x_mm + offset_mm makes of the parameters' derivatives.
SquareMatrix change_of(double scale, double offset_mm) {
  SquareMatrix change = SquareMatrix::Identity();
  for (int i = 0; i < 3; ++i) change(i, i) = scale;
  change(0, 3) = offset_mm;
  change(1, 4) = offset_mm;
  return change;
}

void store_ruler(const FittedRuler& fit, double centre_mm, double half_span_mm, WallMap& map) {
  const SquareMatrix to_mm = change_of(half_span_mm, centre_mm);
  Eigen::Matrix<double, kCount, 1> p =
      to_mm * Eigen::Map<const Eigen::Matrix<double, kCount, 1>>(fit.parameters.data());
  p[2] += centre_mm;
  const SquareMatrix covariance = to_mm * fit.covariance * to_mm.transpose();
  map.parameters.assign(p.data(), p.data() + kProjective);
  map.distortion.assign(p.data() + kProjective, p.data() + kCount);
  map.covariance.assign(covariance.data(), covariance.data() + covariance.size());
}

/// The points as references, with what the map leaves over across their ticks.
void store_references(std::span<const TickPoint> points,
                      const std::vector<double>& numbers_mm,
                      WallMap& map) {
  for (const TickPoint& p : points) {
    const Eigen::RowVector2d slope = jacobian(map, p.pixel).row(0);
    const double off_mm = wall_from_pixel(map, p.pixel).x_mm - p.x_mm;
    const auto tick = std::ranges::lower_bound(numbers_mm, p.x_mm) - numbers_mm.begin();
    map.references.push_back({.point = {.pixel = p.pixel,
                                        .wall = {p.x_mm, 0.0},
                                        .u_px = p.u_px,
                                        .marker = static_cast<int>(tick)},
                              .residual_x_px = off_mm * slope.x() / slope.squaredNorm(),
                              .residual_y_px = off_mm * slope.y() / slope.squaredNorm()});
  }
}

/// The direction along the ruler, by its outermost points.
void store_direction(std::span<const TickPoint> points, WallMap& map) {
  const auto [first, last] = std::ranges::minmax_element(points, {}, &TickPoint::x_mm);
  const Eigen::Vector2d along =
      Eigen::Vector2d(last->pixel.x_px - first->pixel.x_px, last->pixel.y_px - first->pixel.y_px)
          .normalized();
  map.direction_x = along.x();
  map.direction_y = along.y();
}

/// A map whose coordinates are centred on the points and reach to the outermost of them.
WallMap laid_over(std::span<const TickPoint> points, FrameSize frame) {
  WallMap map;
  map.kind = MapKind::kRuler;
  map.frame = frame;
  map.distortion_centre = picture_centre(frame);
  map.distortion_radius_px = half_diagonal_px(frame);
  for (const TickPoint& p : points) {
    map.centre.x_px += p.pixel.x_px / static_cast<double>(points.size());
    map.centre.y_px += p.pixel.y_px / static_cast<double>(points.size());
  }
  map.half_span_px = 0.0;
  for (const TickPoint& p : points) {
    map.half_span_px =
        std::max(map.half_span_px,
                 std::hypot(p.pixel.x_px - map.centre.x_px, p.pixel.y_px - map.centre.y_px));
  }
  return map;
}

}  // namespace

MapFit fit_ruler_map(std::span<const TickPoint> points, FrameSize frame) {
  if (frame.width_px <= 0 || frame.height_px <= 0) {
    throw std::invalid_argument("the map of a ruler needs the size of its picture");
  }
  check_ticks(points);
  const std::set<double> distinct_mm = [&points] {
    std::set<double> numbers;
    for (const TickPoint& p : points) numbers.insert(p.x_mm);
    return numbers;
  }();
  const std::vector<double> numbers_mm(distinct_mm.begin(), distinct_mm.end());
  if (numbers_mm.size() < 4 || points.size() < 8) {
    return refusal(MapStatus::kTooFewPoints,
                   "the map of a ruler needs at least 4 ticks, but there are only " +
                       std::to_string(numbers_mm.size()) + "; bring more of the ruler into view");
  }
  WallMap map = laid_over(points, frame);
  const double centre_mm = (numbers_mm.front() + numbers_mm.back()) / 2.0;
  const double half_span_mm = (numbers_mm.back() - numbers_mm.front()) / 2.0;
  std::vector<Point> conditioned_points;
  for (const TickPoint& p : points) {
    conditioned_points.push_back({.place = plain(map, p.pixel),
                                  .lens = lens_steps(map, p.pixel),
                                  .x = (p.x_mm - centre_mm) / half_span_mm,
                                  .weight = map.half_span_px / p.u_px});
  }
  const FittedRuler fit = fit_points(conditioned_points);
  if (!fit.converged) {
    return refusal(MapStatus::kNotConverged,
                   "the map could not be fitted to the ticks of the ruler; show more of the ruler, "
                   "flat on the wall");
  }
  map.degrees_of_freedom = static_cast<int>(points.size()) - kCount;
  map.reduced_chi2 = 2.0 * fit.cost / map.degrees_of_freedom;
  store_ruler(fit, centre_mm, half_span_mm, map);
  store_direction(points, map);
  if (std::ranges::any_of(points,
                          [&map](const TickPoint& p) { return beyond_horizon(map, p.pixel); })) {
    return refusal(MapStatus::kNotAView,
                   "no camera can see one flat ruler with its ticks where they are; lay the ruler "
                   "flat on the wall");
  }
  store_references(points, numbers_mm, map);
  return {.status = MapStatus::kFitted, .message = {}, .map = map};
}

WallMap renumbered(const WallMap& map, double sense, double offset_mm) {
  const SquareMatrix change = change_of(sense, offset_mm);
  WallMap result = map;
  Eigen::Map<Eigen::Matrix<double, kProjective, 1>> p(result.parameters.data());
  p = (change.topLeftCorner<kProjective, kProjective>() * p).eval();
  p[2] += offset_mm;
  Eigen::Map<SquareMatrix> covariance(result.covariance.data());
  covariance = (change * covariance * change.transpose()).eval();
  int last = 0;
  for (const FittedReference& reference : map.references) {
    last = std::max(last, reference.point.marker);
  }
  for (FittedReference& reference : result.references) {
    reference.point.wall.x_mm = sense * reference.point.wall.x_mm + offset_mm;
    if (sense < 0.0) reference.point.marker = last - reference.point.marker;
  }
  result.direction_x *= sense;
  result.direction_y *= sense;
  return result;
}

}  // namespace nightswing::calibration
