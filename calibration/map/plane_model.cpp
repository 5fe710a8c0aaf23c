#include "calibration/map/plane_model.h"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

#include <ceres/ceres.h>
#include <Eigen/Cholesky>
#include <Eigen/QR>

#include "calibration/map/fit_options.h"
#include "calibration/map/lens.h"
#include "calibration/map/linearised_fit.h"
#include "calibration/map/median.h"

namespace nightswing::calibration {
namespace {

constexpr int kRounds = 15;            // of map and scatter in turn; 3 to 5 are usual
constexpr double kSettled = 0.01;      // relative change of the scatter
constexpr double kLeastSine = 0.1;     // of a marker's corner in the picture: seen from 6 degrees
constexpr double kTailQuantile = 2.3;  // standard deviations: one marker in a hundred is beyond

/// Where the Huber loss of n residuals bends: the root of the 0.99 quantile of chi squared (Wilson,
/// Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684); 3.0 for one point.
double bend(std::size_t residuals) {
  const double share = 2.0 / (9.0 * static_cast<double>(residuals));
  const double root = 1.0 - share + kTailQuantile * std::sqrt(share);
  return std::sqrt(static_cast<double>(residuals) * root * root * root);
}

/// The residuals of a group, all x and then all y, whitened.
///   residual  the straightened pixel minus the image of the place, led back through the lens by
///             its derivative: to first order the measured minus the predicted pixel.
struct GroupResidual {
  const PlaneFrame& frame;
  const PointGroup& group;
  Eigen::Vector2d pivot_mm;
  Eigen::MatrixXd whitening;

  template <typename T>
  Eigen::Matrix<T, 2, 1> image_px(const T* h, const T* page, const WallPoint& wall) const {
    const T dx(wall.x_mm - pivot_mm.x());
    const T dy(wall.y_mm - pivot_mm.y());
    const T c = (1.0 + page[3]) * cos(page[2]);
    const T s = (1.0 + page[3]) * sin(page[2]);
    const T x =
        (pivot_mm.x() - frame.wall_centre.x() + page[0] + c * dx - s * dy) / frame.wall_half_span;
    const T y =
        (pivot_mm.y() - frame.wall_centre.y() + page[1] + s * dx + c * dy) / frame.wall_half_span;
    // h leads the other way: its adjugate is its inverse up to a factor, which cancels.
    const T u = (h[4] - h[5] * h[7]) * x + (h[2] * h[7] - h[1]) * y + (h[1] * h[5] - h[2] * h[4]);
    const T v = (h[5] * h[6] - h[3]) * x + (h[0] - h[2] * h[6]) * y + (h[2] * h[3] - h[0] * h[5]);
    const T w = (h[3] * h[7] - h[4] * h[6]) * x + (h[1] * h[6] - h[0] * h[7]) * y +
                (h[0] * h[4] - h[1] * h[3]);
    return {frame.pixel_centre.x() + frame.pixel_half_span * u / w,
            frame.pixel_centre.y() + frame.pixel_half_span * v / w};
  }

  template <typename T>
  bool operator()(const T* h,
                  const T* lens,
                  const T* page,
                  const T* slant_px,
                  const T* growth_px,
                  T* residual) const {
    const auto n = static_cast<Eigen::Index>(group.points.size());
    Eigen::Matrix<T, Eigen::Dynamic, 2> errors(n, 2);
    for (Eigen::Index i = 0; i < n; ++i) {
      const ReferencePoint& p = group.points[static_cast<std::size_t>(i)];
      Eigen::Matrix<T, 2, 1> error = -image_px(h, page, p.wall);
      error.x() += p.pixel.x_px - group.slant[0] * slant_px[0] - group.slant[1] * slant_px[1];
      error.y() += p.pixel.y_px - group.slant[2] * slant_px[2] - group.slant[3] * slant_px[3];
      if (!group.outwards.empty()) {
        error -= group.outwards[static_cast<std::size_t>(i)].cast<T>() * growth_px[0];
      }
      if (frame.lens_radius > 0.0) {
        const Eigen::Matrix<T, 2, 1> d(
            (p.pixel.x_px - frame.lens_middle.x()) / frame.lens_radius - lens[kLensTerms],
            (p.pixel.y_px - frame.lens_middle.y()) / frame.lens_radius - lens[kLensTerms + 1]);
        const auto straight = undistortion<T>(d, std::span<const T>(lens, kLensTerms));
        const auto& m = straight.derivative;
        error += T(frame.lens_radius) * straight.offset;
        const T determinant = m(0, 0) * m(1, 1) - m(0, 1) * m(1, 0);
        error = Eigen::Matrix<T, 2, 1>(m(1, 1) * error.x() - m(0, 1) * error.y(),
                                       m(0, 0) * error.y() - m(1, 0) * error.x()) /
                determinant;
      }
      errors.row(i) = error.transpose();
    }
    // Lazily: the blocked product would be made anew for numbers with derivatives, which takes long
    // to compile and runs no faster.
    Eigen::Map<Eigen::Matrix<T, Eigen::Dynamic, 2>>(residual, n, 2) =
        whitening.cast<T>().lazyProduct(errors);
    return true;
  }
};

/// Knowledge beforehand: each unknown over its standard deviation.
template <std::size_t N>
struct PriorResidual {
  std::array<double, N> width;

  template <typename T>
  bool operator()(const T* unknowns, T* residual) const {
    for (std::size_t i = 0; i < N; ++i) residual[i] = unknowns[i] / width[i];
    return true;
  }
};

Eigen::VectorXd stated_u_px(const PointGroup& group) {
  Eigen::VectorXd u_px(static_cast<Eigen::Index>(group.points.size()));
  for (Eigen::Index i = 0; i < u_px.size(); ++i) {
    u_px[i] = group.points[static_cast<std::size_t>(i)].u_px;
  }
  return u_px;
}

/// How far a typical point of a marker scatters beyond its stated u_px.
double excess_px(const std::vector<PointGroup>& groups, const ScatterComponents& scatter) {
  // Noise alone lets widening^2 come out above 1 by 0.16, one standard deviation, for the 80
  // degrees of freedom of one page.
  constexpr double kLuck = 0.35;
  const double excess2 = scatter.widening * scatter.widening - 1.0 - kLuck;
  std::vector<double> u_px;
  for (const PointGroup& group : groups) {
    if (group.points.front().marker == kNoMarker) continue;
    for (const ReferencePoint& p : group.points) u_px.push_back(p.u_px);
  }
  if (excess2 <= 0.0 || u_px.empty()) return 0.0;
  return std::sqrt(excess2) * upper_median_of(std::move(u_px));
}

/// One fit under supposed scatter. Refers to its arguments as long as it lives.
class PlaneProblem {
 public:
  PlaneProblem(const PlaneFrame& frame,
               const std::vector<PointGroup>& groups,
               const std::vector<Eigen::Vector2d>& pivots_mm,
               const std::array<double, kPageUnknowns>& sheets,
               const ScatterComponents& scatter,
               PlaneUnknowns& unknowns)
      : groups_(groups) {
    double* h = unknowns.homography.data();
    double* lens = unknowns.lens.data();
    free_.push_back(h);
    for (const PointGroup& group : groups) add(frame, group, pivots_mm, scatter, unknowns);
    if (frame.lens_radius > 0.0) {
      add_prior(kUsualLens, lens);
    } else {
      problem_.SetParameterBlockConstant(lens);
    }
    for (auto& page : unknowns.pages) {
      if (&page == &unknowns.pages.front()) {
        problem_.SetParameterBlockConstant(page.data());
      } else {
        add_prior(sheets, page.data());
      }
    }
    const double slant_px = kSlantShare * excess_px(groups, scatter);
    if (slant_px > 0.0) {
      std::array<double, kSlantUnknowns> width{};
      width.fill(slant_px);
      add_prior(width, unknowns.slant_px.data());
    } else {
      unknowns.slant_px = {};
      problem_.SetParameterBlockConstant(unknowns.slant_px.data());
    }
    if (std::ranges::any_of(groups, [](const auto& group) { return !group.outwards.empty(); })) {
      add_prior(std::array{kUsualGrowth_px}, unknowns.growth_px.data());
    } else {
      problem_.SetParameterBlockConstant(unknowns.growth_px.data());
    }
  }

  bool solve() {
    // 1e-13 of the half span is far below any use, and above the rounding of exact points, beyond
    // which no step lowers the cost.
    const auto options = fit_options(1e-13 * stiffness_);
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem_, &summary);
    cost_ = summary.final_cost;
    return summary.IsSolutionUsable() && linearise();
  }

  [[nodiscard]] double cost() const { return cost_; }  ///< half of the robust sum of squares
  [[nodiscard]] const Eigen::MatrixXd& covariance() const { return covariance_; }

  [[nodiscard]] ScatterComponents rescattered(const ScatterComponents& supposed) const {
    std::vector<WhitenedMarker> markers;
    Eigen::Index row = 0;
    for (std::size_t g = 0; g < groups_.size(); ++g) {
      const auto n = static_cast<Eigen::Index>(groups_[g].points.size());
      // A marker beyond the bend tells of itself, not of the scatter of the others.
      const double length = minimum_.residuals.segment(row, 2 * n).norm();
      const double share = std::min(1.0, bend(2 * groups_[g].points.size()) / length);
      markers.push_back({.u_px = stated_u_px(groups_[g]),
                         .whitening = whitenings_[g],
                         .residuals = share * minimum_.residuals.segment(row, 2 * n).reshaped(n, 2),
                         .jacobian_x = minimum_.jacobian.middleRows(row, n),
                         .jacobian_y = minimum_.jacobian.middleRows(row + n, n)});
      row += 2 * n;
    }
    const Eigen::MatrixXd known = minimum_.jacobian.bottomRows(minimum_.jacobian.rows() - row);
    return estimate_scatter(markers, covariance_, known.transpose() * known, supposed);
  }

 private:
  void add(const PlaneFrame& frame,
           const PointGroup& group,
           const std::vector<Eigen::Vector2d>& pivots_mm,
           const ScatterComponents& scatter,
           PlaneUnknowns& unknowns) {
    const Eigen::VectorXd u_px = stated_u_px(group);
    whitenings_.push_back(whitening_of(u_px, scatter));
    stiffness_ += 2.0 * (frame.pixel_half_span / u_px.array()).square().sum();
    using Cost = ceres::AutoDiffCostFunction<GroupResidual,
                                             ceres::DYNAMIC,
                                             8,
                                             kLensUnknowns,
                                             kPageUnknowns,
                                             kSlantUnknowns,
                                             1>;
    const int residuals = 2 * static_cast<int>(group.points.size());
    auto* cost = new Cost(
        new GroupResidual{frame, group, pivots_mm[group.page], whitenings_.back()}, residuals);
    problem_.AddResidualBlock(cost,
                              new ceres::HuberLoss(bend(static_cast<std::size_t>(residuals))),
                              unknowns.homography.data(),
                              unknowns.lens.data(),
                              unknowns.pages[group.page].data(),
                              unknowns.slant_px.data(),
                              unknowns.growth_px.data());
  }

  template <std::size_t N>
  void add_prior(const std::array<double, N>& width, double* unknowns) {
    using Cost =
        ceres::AutoDiffCostFunction<PriorResidual<N>, static_cast<int>(N), static_cast<int>(N)>;
    problem_.AddResidualBlock(new Cost(new PriorResidual<N>{width}), nullptr, unknowns);
    free_.push_back(unknowns);
  }

  /// Residuals, derivatives and covariance at the minimum.
  bool linearise() {
    auto at_minimum = linearised(problem_, free_);
    if (!at_minimum) return false;
    minimum_ = std::move(*at_minimum);
    const Eigen::MatrixXd information = minimum_.jacobian.transpose() * minimum_.jacobian;
    const auto cholesky = information.ldlt();
    covariance_ = cholesky.solve(Eigen::MatrixXd::Identity(information.rows(), information.cols()));
    return cholesky.info() == Eigen::Success && cholesky.isPositive() && covariance_.allFinite();
  }

  const std::vector<PointGroup>& groups_;
  std::vector<Eigen::MatrixXd> whitenings_;
  std::vector<double*> free_;
  ceres::Problem problem_;
  double stiffness_ = 0.0;
  double cost_ = 0.0;
  LinearisedFit minimum_;
  Eigen::MatrixXd covariance_;
};

/// By what the uncertainty grows beyond the scatter. Markers that lie off a flat wall by more than
/// a film's coder shifts them lie on bent paper, and a bend is smooth: part of it passes for
/// perspective and lens and leaves no residuals. On rendered sheets with ridges 0.6 to 5 mm high
/// the errors were 2 to 3 times what the scatter says.
double shape_factor(double off_wall_mm) {
  constexpr double kCoding_mm = 0.03;
  constexpr double kBent_mm = 0.09;
  constexpr double kMost = 2.5;
  const double share = std::clamp((off_wall_mm - kCoding_mm) / (kBent_mm - kCoding_mm), 0.0, 1.0);
  return 1.0 + share * (kMost - 1.0);
}

bool settled(const ScatterComponents& now, const ScatterComponents& before, double least_px) {
  return std::abs(now.widening - before.widening) <= kSettled * before.widening &&
         std::abs(now.common_px - before.common_px) <=
             kSettled * std::max(before.common_px, least_px);
}

}  // namespace

Eigen::Vector4d slant_of(const std::vector<ReferencePoint>& marker) {
  constexpr double kStep = 0.02;  // slope: how steep the step is
  constexpr double kRamp =
      0.25;  // slope at which the ramp is 1; it ends at 2, half-way to diagonal
  Eigen::MatrixXd places(static_cast<Eigen::Index>(marker.size()), 3);
  Eigen::MatrixXd pixels(places.rows(), 2);
  for (Eigen::Index i = 0; i < places.rows(); ++i) {
    const ReferencePoint& p = marker[static_cast<std::size_t>(i)];
    places.row(i) << p.wall.x_mm - marker.front().wall.x_mm, p.wall.y_mm - marker.front().wall.y_mm,
        1.0;
    pixels.row(i) << p.pixel.x_px, p.pixel.y_px;
  }
  const auto decomposed = places.colPivHouseholderQr();
  if (marker.size() < 4 || decomposed.rank() < 3) return Eigen::Vector4d::Zero();
  const Eigen::MatrixXd sides = decomposed.solve(pixels).topRows<2>();  // along x and y of the wall
  Eigen::Vector4d slant = Eigen::Vector4d::Zero();
  for (Eigen::Index k = 0; k < 2; ++k) {
    const double dx = sides(k, 0);
    const double dy = sides(k, 1);
    const bool upright = std::abs(dy) > std::abs(dx);
    const double slope = upright ? dx / dy : dy / dx;
    slant[upright ? 0 : 2] += slope / std::hypot(slope, kStep);
    slant[upright ? 1 : 3] += std::clamp(slope / kRamp, -2.0, 2.0);
  }
  return slant;
}

std::vector<Eigen::Vector2d> outwards_of(const std::vector<ReferencePoint>& marker) {
  const std::size_t count = marker.size();
  if (count < 4) return {};
  std::vector<Eigen::Vector2d> outwards;
  for (std::size_t k = 0; k < count; ++k) {
    const auto side_to = [&](std::size_t other) {
      const PixelPoint& here = marker[k].pixel;
      const PixelPoint& there = marker[other % count].pixel;
      return Eigen::Vector2d(here.x_px - there.x_px, here.y_px - there.y_px).normalized();
    };
    // Both sides moved by 1 px: the new corner is as far from each of the old lines.
    const Eigen::Vector2d one = side_to(k + count - 1);
    const Eigen::Vector2d other = side_to(k + 1);
    const double sine = std::abs(one.x() * other.y() - one.y() * other.x());
    if (!(sine > kLeastSine)) return {};
    outwards.emplace_back((one + other) / sine);
  }
  return outwards;
}

PlaneSolution solve_plane(const PlaneFrame& frame,
                          const std::vector<PointGroup>& groups,
                          const std::vector<Eigen::Vector2d>& pivots_mm,
                          const PlaneUnknowns& start,
                          const std::array<double, kPageUnknowns>& sheets) {
  int points = 0;
  double least_u_px = groups.front().points.front().u_px;
  for (const PointGroup& group : groups) {
    points += static_cast<int>(group.points.size());
    for (const ReferencePoint& p : group.points) least_u_px = std::min(least_u_px, p.u_px);
  }
  const int freedom = 2 * points - 8;
  PlaneSolution result;
  result.unknowns = start;
  for (int round = 0; round < kRounds; ++round) {
    PlaneProblem problem(frame, groups, pivots_mm, sheets, result.scatter, result.unknowns);
    result.converged = problem.solve();
    if (!result.converged) return result;
    if (round == 0 && freedom > 0) result.reduced_chi2 = 2.0 * problem.cost() / freedom;
    result.covariance = problem.covariance();
    const ScatterComponents next = problem.rescattered(result.scatter);
    if (settled(next, result.scatter, least_u_px)) break;
    result.scatter = next;
  }
  const double mm_per_px = frame.wall_half_span / frame.pixel_half_span;
  result.off_wall_mm =
      mm_per_px * std::hypot(excess_px(groups, result.scatter), result.scatter.common_px);
  const double shape = shape_factor(result.off_wall_mm);
  result.covariance *= shape * shape;
  return result;
}

}  // namespace nightswing::calibration
