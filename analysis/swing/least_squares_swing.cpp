#include "analysis/swing/least_squares_swing.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>

#include <ceres/cost_function.h>
#include <ceres/crs_matrix.h>
#include <ceres/loss_function.h>
#include <ceres/manifold.h>
#include <ceres/problem.h>
#include <ceres/sized_cost_function.h>

#include "analysis/quantities/median.h"
#include "analysis/swing/fit_options.h"
#include "analysis/swing/noise.h"
#include "analysis/swing/swing_track.h"

namespace nightswing::analysis {
namespace {

constexpr double kTooFar = 1e100;  // standard deviations; squares of it are still numbers

using Parameters = LeastSquaresSwing::Parameters;

/// (model - position)/u of one sample. Parameters: {w, g}, {level}, {drift 1, drift 2}, {c, s}; the
/// segment swings with w times its ratio.
class PositionResidual final : public ceres::SizedCostFunction<1, 2, 1, 2, 2> {
 public:
  /// `drift`: legendre_terms at the sample's time.
  PositionResidual(const SwingSample& sample,
                   const Segment& segment,
                   const std::array<double, 3>& drift)
      : since_s_(sample.t_s - segment.from_s),
        ratio_(segment.frequency_ratio),
        drift_{drift[0], drift[1]},
        x_mm_(sample.x_mm),
        weight_(1.0 / sample.u_mm) {}

  bool Evaluate(double const* const* parameters,
                double* residuals,
                double** jacobians) const override {
    const double omega = parameters[0][0];
    const double damping = parameters[0][1];
    const double c = parameters[3][0];
    const double s = parameters[3][1];
    const double envelope = weight_ * std::exp(-damping * since_s_);
    const double cosine = envelope * std::cos(omega * ratio_ * since_s_);
    const double sine = envelope * std::sin(omega * ratio_ * since_s_);
    const double level =
        parameters[1][0] + parameters[2][0] * drift_[0] + parameters[2][1] * drift_[1];
    const double wave = c * cosine + s * sine;
    residuals[0] = weight_ * (level - x_mm_) + wave;
    // A step that goes too far is turned down; without this Ceres fills the terminal with it.
    if (!(std::abs(residuals[0]) < kTooFar)) return false;
    if (jacobians == nullptr) return true;
    if (jacobians[0] != nullptr) {
      jacobians[0][0] = ratio_ * since_s_ * (s * cosine - c * sine);
      jacobians[0][1] = -since_s_ * wave;
    }
    if (jacobians[1] != nullptr) jacobians[1][0] = weight_;
    if (jacobians[2] != nullptr) {
      jacobians[2][0] = weight_ * drift_[0];
      jacobians[2][1] = weight_ * drift_[1];
    }
    if (jacobians[3] != nullptr) {
      jacobians[3][0] = cosine;
      jacobians[3][1] = sine;
    }
    return true;
  }

 private:
  double since_s_;
  double ratio_;
  std::array<double, 2> drift_;
  double x_mm_;
  double weight_;
};

std::size_t level_index(Side side) {
  return side == Side::kPlus ? 0 : 1;
}

/// The joint problem over one set of samples; owns the parameters that Ceres writes into.
class JointProblem {
 public:
  JointProblem(std::span<const Segment> segments, const SwingStart& start, int drift_order)
      : segments_(segments.begin(), segments.end()), drift_order_(drift_order) {
    p_.swing = {2.0 * std::numbers::pi / start.period_s, start.damping_per_s};
    p_.waves.assign(segments_.size(), {0.0, 0.0});
  }

  /// Solves with soft-L1 loss of the given scale, or plainly without one. The levels start at the
  /// data's mean; the linear parameters are found by the first step.
  bool solve(std::span<const PlacedSample> placed, std::optional<double> loss_scale) {
    problem_ = std::make_unique<ceres::Problem>();
    if (!started_) start_levels(placed);
    for (const PlacedSample& one : placed) {
      const Segment& segment = segments_[one.segment];
      const auto drift = legendre_terms(segments_, one.sample.t_s);
      problem_->AddResidualBlock(new PositionResidual(one.sample, segment, drift),
                                 loss_scale ? new ceres::SoftLOneLoss(*loss_scale) : nullptr,
                                 p_.swing.data(),
                                 &p_.levels[level_index(segment.side)],
                                 p_.drift.data(),
                                 p_.waves[one.segment].data());
    }
    if (drift_order_ == 0) problem_->SetParameterBlockConstant(p_.drift.data());
    if (drift_order_ == 1) {
      problem_->SetManifold(p_.drift.data(), new ceres::SubsetManifold(2, {1}));
    }
    // A swing slower than a tenth of the start value has left the data's reach.
    problem_->SetParameterLowerBound(p_.swing.data(), 0, 0.1 * p_.swing[0]);
    ceres::Solver::Summary summary;
    ceres::Solve(fit_options(), problem_.get(), &summary);
    return summary.IsSolutionUsable();
  }

  /// Weighted residuals and Jacobian. Columns: w, g, levels present, drift terms, waves.
  void evaluate(Eigen::VectorXd& residuals, Eigen::MatrixXd& jacobian) {
    ceres::Problem::EvaluateOptions options;
    options.parameter_blocks = blocks();
    options.apply_loss_function = false;
    std::vector<double> r;
    ceres::CRSMatrix sparse;
    problem_->Evaluate(options, nullptr, &r, nullptr, &sparse);
    residuals = Eigen::Map<Eigen::VectorXd>(r.data(), std::ssize(r));
    jacobian = Eigen::MatrixXd::Zero(sparse.num_rows, sparse.num_cols);
    for (int row = 0; row < sparse.num_rows; ++row) {
      const auto begin = static_cast<std::size_t>(sparse.rows[static_cast<std::size_t>(row)]);
      const auto end = static_cast<std::size_t>(sparse.rows[static_cast<std::size_t>(row) + 1]);
      for (std::size_t k = begin; k < end; ++k) jacobian(row, sparse.cols[k]) = sparse.values[k];
    }
  }

  [[nodiscard]] std::optional<Eigen::Index> level_column(Side side) const {
    const bool plus_here = has(Side::kPlus);
    if (!has(side)) return std::nullopt;
    return side == Side::kPlus || !plus_here ? 2 : 3;
  }
  [[nodiscard]] Eigen::Index drift_column() const {
    return 2 + (has(Side::kPlus) ? 1 : 0) + (has(Side::kMinus) ? 1 : 0);
  }
  [[nodiscard]] int drift_order() const { return drift_order_; }
  [[nodiscard]] const std::vector<Segment>& segments() const { return segments_; }
  [[nodiscard]] const Parameters& parameters() const { return p_; }
  [[nodiscard]] bool has(Side side) const {
    return std::ranges::any_of(segments_, [&](const Segment& s) { return s.side == side; });
  }

 private:
  std::vector<double*> blocks() {
    std::vector<double*> list{p_.swing.data()};
    if (has(Side::kPlus)) list.push_back(&p_.levels[0]);
    if (has(Side::kMinus)) list.push_back(&p_.levels[1]);
    if (drift_order_ > 0) list.push_back(p_.drift.data());
    for (auto& wave : p_.waves) list.push_back(wave.data());
    return list;
  }

  void start_levels(std::span<const PlacedSample> placed) {
    double sum = 0.0;
    for (const PlacedSample& one : placed) sum += one.sample.x_mm;
    p_.levels.fill(sum / static_cast<double>(placed.size()));
    started_ = true;
  }

  std::vector<Segment> segments_;
  int drift_order_;
  bool started_ = false;
  Parameters p_;
  std::unique_ptr<ceres::Problem> problem_;
};

Measured difference_of(const JointProblem& problem, const Eigen::MatrixXd& covariance) {
  const auto plus = problem.level_column(Side::kPlus);
  const auto minus = problem.level_column(Side::kMinus);
  if (!plus || !minus) return {0.0, 0.0};
  const double variance =
      covariance(*plus, *plus) + covariance(*minus, *minus) - 2.0 * covariance(*plus, *minus);
  return {problem.parameters().levels[0] - problem.parameters().levels[1],
          std::sqrt(std::max(0.0, variance))};
}

bool swing_stands_out(const JointProblem& problem, const Eigen::MatrixXd& covariance) {
  Eigen::Index column = problem.drift_column() + problem.drift_order();
  for (const auto& wave : problem.parameters().waves) {
    const double amplitude_mm = std::hypot(wave[0], wave[1]);
    if (amplitude_mm > 0.0) {
      const Eigen::Vector2d along(wave[0] / amplitude_mm, wave[1] / amplitude_mm);
      const Eigen::Matrix2d block = covariance.block<2, 2>(column, column);
      const double u_mm = std::sqrt(std::max(0.0, along.dot(block * along)));
      if (amplitude_mm > kSwingSigmas * u_mm) return true;
    }
    column += 2;
  }
  return false;
}

void report(JointProblem& problem, std::span<const PlacedSample> placed, LeastSquaresSwing& swing) {
  Eigen::VectorXd residuals;
  Eigen::MatrixXd jacobian;
  problem.evaluate(residuals, jacobian);
  std::vector<double> times_s;
  double square_mm2 = 0.0;
  for (std::size_t i = 0; i < placed.size(); ++i) {
    const double r_mm = residuals(static_cast<Eigen::Index>(i)) * placed[i].sample.u_mm;
    times_s.push_back(placed[i].sample.t_s);
    square_mm2 += r_mm * r_mm;
  }
  swing.parameters = problem.parameters();
  swing.segments = problem.segments();
  swing.residual_rms_mm = std::sqrt(square_mm2 / static_cast<double>(placed.size()));
  const double period_s = 2.0 * std::numbers::pi / swing.parameters.swing[0];
  const ParameterCovariance spread = parameter_covariance(jacobian, residuals, times_s, period_s);
  swing.shift_mm = difference_of(problem, spread.correlated);
  swing.independent_shift_mm = difference_of(problem, spread.independent);
  swing.swings = swing_stands_out(problem, spread.independent);
  swing.converged = true;
}

}  // namespace

double LeastSquaresSwing::position_mm(double t_s, std::size_t k) const {
  const Segment& segment = segments[k];
  const auto drift = legendre_terms(segments, t_s);
  const double since_s = t_s - segment.from_s;
  const double envelope = std::exp(-parameters.swing[1] * since_s);
  const double phase = parameters.swing[0] * segment.frequency_ratio * since_s;
  return parameters.levels[level_index(segment.side)] + parameters.drift[0] * drift[0] +
         parameters.drift[1] * drift[1] +
         envelope *
             (parameters.waves[k][0] * std::cos(phase) + parameters.waves[k][1] * std::sin(phase));
}

LeastSquaresSwing least_squares_swing(std::span<const SwingSample> samples,
                                      std::span<const Segment> segments,
                                      const SwingStart& start,
                                      int drift_order) {
  LeastSquaresSwing swing;
  const std::vector<PlacedSample> placed = placed_samples(samples, segments);
  if (segments.empty() || placed.size() < 2 * (6 + 2 * segments.size())) return swing;
  JointProblem problem(segments, start, drift_order);
  // First plainly, to find the scatter that the loss of the next rounds is scaled by.
  Eigen::VectorXd residuals;
  Eigen::MatrixXd jacobian;
  bool usable = problem.solve(placed, std::nullopt);
  for (int round = 0; usable && round < 2; ++round) {
    problem.evaluate(residuals, jacobian);
    const double sigma = robust_sigma({residuals.begin(), residuals.end()});
    if (!(sigma > 1e-9)) break;  // a noiseless track is fitted already
    usable = problem.solve(placed, sigma);
  }
  if (usable) report(problem, placed, swing);
  return swing;
}

}  // namespace nightswing::analysis
