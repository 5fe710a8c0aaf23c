#include "analysis/swing_fit.h"

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
#include <fmt/format.h>

#include "analysis/fit_options.h"
#include "analysis/noise.h"

namespace nightswing::analysis {
namespace {

constexpr double kFalseReadingSigmas = 5.0;
constexpr double kSwingSigmas = 5.0;
constexpr double kSecondsPerHour = 3600.0;
constexpr std::ptrdiff_t kLeastPerSegment = 4;  // twice the unknowns of its swing

/// Time scaled to -1..1 over the night, and the two drift terms (Legendre polynomials, so that
/// neither moves the mean rest position).
struct DriftTime {
  double middle_s;
  double half_s;
  [[nodiscard]] std::array<double, 2> terms(double t_s) const {
    const double u = (t_s - middle_s) / half_s;
    return {u, 0.5 * (3.0 * u * u - 1.0)};
  }
};

/// (model - position)/u of one sample. Parameters: {w, g}, {level}, {drift 1, drift 2}, {c, s}.
class PositionResidual final : public ceres::SizedCostFunction<1, 2, 1, 2, 2> {
 public:
  PositionResidual(const SwingSample& sample, double segment_start_s, const DriftTime& drift)
      : since_s_(sample.t_s - segment_start_s),
        drift_(drift.terms(sample.t_s)),
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
    const double cosine = envelope * std::cos(omega * since_s_);
    const double sine = envelope * std::sin(omega * since_s_);
    const double level =
        parameters[1][0] + parameters[2][0] * drift_[0] + parameters[2][1] * drift_[1];
    const double wave = c * cosine + s * sine;
    residuals[0] = weight_ * (level - x_mm_) + wave;
    if (jacobians == nullptr) return true;
    if (jacobians[0] != nullptr) {
      jacobians[0][0] = since_s_ * (s * cosine - c * sine);
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
  std::array<double, 2> drift_;
  double x_mm_;
  double weight_;
};

/// A sample and the segment it belongs to.
struct Placed {
  SwingSample sample;
  std::size_t segment;
};

struct Parameters {
  std::array<double, 2> swing{};             // w [rad/s], g [1/s]
  std::array<double, 2> levels{};            // plus, minus [mm]
  std::array<double, 2> drift{};             // [mm]
  std::vector<std::array<double, 2>> waves;  // c, s [mm] of each segment
};

std::size_t level_index(Side side) {
  return side == Side::kPlus ? 0 : 1;
}

std::vector<Placed> place(std::span<const SwingSample> samples, std::span<const Segment> segments) {
  std::vector<Placed> placed;
  for (const SwingSample& sample : samples) {
    for (std::size_t k = 0; k < segments.size(); ++k) {
      if (sample.t_s >= segments[k].from_s && sample.t_s < segments[k].to_s) {
        placed.push_back({sample, k});
        break;
      }
    }
  }
  return placed;
}

/// Why these positions do not carry a fit; empty if they do.
std::string too_few(std::span<const Placed> placed, std::span<const Segment> segments) {
  if (placed.size() < 2 * (6 + 2 * segments.size())) {
    return fmt::format("{} positions in the segments are too few to fit", placed.size());
  }
  for (std::size_t k = 0; k < segments.size(); ++k) {
    const auto count = std::ranges::count(placed, k, &Placed::segment);
    if (count >= kLeastPerSegment) continue;
    return fmt::format("side {} from {:.0f} s to {:.0f} s has {} positions, too few to fit",
                       name_of(segments[k].side),
                       segments[k].from_s,
                       segments[k].to_s,
                       count);
  }
  return {};
}

/// The joint problem over one set of samples; owns the parameters that Ceres writes into.
class JointProblem {
 public:
  JointProblem(std::span<const Segment> segments,
               const SwingStart& start,
               const SwingFitOptions& options)
      : segments_(segments.begin(), segments.end()),
        drift_time_{.middle_s = 0.5 * (segments.front().from_s + segments.back().to_s),
                    .half_s = 0.5 * (segments.back().to_s - segments.front().from_s)},
        drift_order_(options.drift_order.value_or(segments.size() < 4 ? 1 : 2)) {
    p_.swing = {2.0 * std::numbers::pi / start.period_s, start.damping_per_s};
    p_.waves.assign(segments_.size(), {0.0, 0.0});
  }

  /// Solves with soft-L1 loss of the given scale, or plainly without one. The levels start at the
  /// data's mean; the linear parameters are found by the first step.
  bool solve(std::span<const Placed> placed, std::optional<double> loss_scale) {
    problem_ = std::make_unique<ceres::Problem>();
    if (!started_) start_levels(placed);
    for (const Placed& one : placed) {
      const Segment& segment = segments_[one.segment];
      problem_->AddResidualBlock(new PositionResidual(one.sample, segment.from_s, drift_time_),
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
  [[nodiscard]] const DriftTime& drift_time() const { return drift_time_; }
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

  void start_levels(std::span<const Placed> placed) {
    double sum = 0.0;
    for (const Placed& one : placed) sum += one.sample.x_mm;
    p_.levels.fill(sum / static_cast<double>(placed.size()));
    started_ = true;
  }

  std::vector<Segment> segments_;
  DriftTime drift_time_;
  int drift_order_;
  bool started_ = false;
  Parameters p_;
  std::unique_ptr<ceres::Problem> problem_;
};

/// 1.4826 times the median of |r|: the standard deviation of normal scatter, blind to a few
/// outliers.
double robust_sigma(const Eigen::VectorXd& residuals) {
  std::vector<double> sizes(residuals.data(), residuals.data() + residuals.size());
  for (double& r : sizes) r = std::abs(r);
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::nth_element(sizes.begin(), middle, sizes.end());
  return 1.4826 * *middle;
}

/// Takes false readings out of `placed`, in place.
void leave_out(std::vector<Placed>& placed, const Eigen::VectorXd& residuals, SwingFit& fit) {
  const double limit = kFalseReadingSigmas * robust_sigma(residuals);
  std::vector<Placed> kept;
  for (std::size_t i = 0; i < placed.size(); ++i) {
    if (std::abs(residuals(static_cast<Eigen::Index>(i))) <= limit) {
      kept.push_back(placed[i]);
    } else {
      fit.left_out_s.push_back(placed[i].sample.t_s);
    }
  }
  placed = std::move(kept);
}

ParameterCovariance spread_of(JointProblem& problem,
                              std::span<const Placed> placed,
                              SwingFit& fit) {
  Eigen::VectorXd residuals;
  Eigen::MatrixXd jacobian;
  problem.evaluate(residuals, jacobian);
  const Eigen::Index columns =
      problem.drift_column() + problem.drift_order() + 2 * std::ssize(problem.parameters().waves);
  if (jacobian.cols() != columns) throw std::logic_error("fit_swing: unexpected columns");
  double square_mm2 = 0.0;
  for (std::size_t i = 0; i < placed.size(); ++i) {
    const double r_mm = residuals(static_cast<Eigen::Index>(i)) * placed[i].sample.u_mm;
    fit.fitted_t_s.push_back(placed[i].sample.t_s);
    fit.residuals_mm.push_back(-r_mm);  // measured minus fitted
    square_mm2 += r_mm * r_mm;
  }
  fit.residual_rms_mm = std::sqrt(square_mm2 / static_cast<double>(placed.size()));
  const double period_s = 2.0 * std::numbers::pi / problem.parameters().swing[0];
  return parameter_covariance(jacobian, residuals, fit.fitted_t_s, period_s);
}

Measured combined(double value, const Eigen::VectorXd& weights, const Eigen::MatrixXd& covariance) {
  return {value, std::sqrt(std::max(0.0, weights.dot(covariance * weights)))};
}

/// From {w, g, levels...} to {plus, minus, period, damping}.
void report_shared(const JointProblem& problem, const ParameterCovariance& spread, SwingFit& fit) {
  const Parameters& p = problem.parameters();
  const Eigen::Index columns = spread.correlated.cols();
  Eigen::MatrixXd to_result = Eigen::MatrixXd::Zero(4, columns);
  if (const auto column = problem.level_column(Side::kPlus)) to_result(0, *column) = 1.0;
  if (const auto column = problem.level_column(Side::kMinus)) to_result(1, *column) = 1.0;
  const double period_s = 2.0 * std::numbers::pi / p.swing[0];
  to_result(2, 0) = -period_s / p.swing[0];
  to_result(3, 1) = 1.0;
  fit.covariance = to_result * spread.correlated * to_result.transpose();
  const auto u = [&](int k) { return std::sqrt(fit.covariance(k, k)); };
  fit.has_both_sides = problem.has(Side::kPlus) && problem.has(Side::kMinus);
  fit.plus_mm = {problem.has(Side::kPlus) ? p.levels[0] : 0.0, u(0)};
  fit.minus_mm = {problem.has(Side::kMinus) ? p.levels[1] : 0.0, u(1)};
  fit.period_s = {period_s, u(2)};
  fit.damping_per_s = {p.swing[1], u(3)};
  if (fit.has_both_sides) {
    const Eigen::VectorXd difference = (to_result.row(0) - to_result.row(1)).transpose();
    fit.shift_mm = combined(p.levels[0] - p.levels[1], difference, spread.correlated);
    const Measured white = combined(0.0, difference, spread.independent);
    fit.correlation_widening = fit.shift_mm.u / std::max(white.u, 1e-300);
  }
  if (problem.drift_order() == 0) return;
  Eigen::VectorXd slope = Eigen::VectorXd::Zero(columns);
  slope(problem.drift_column()) = kSecondsPerHour / problem.drift_time().half_s;
  fit.drift_mm_per_hour =
      combined(p.drift[0] * slope(problem.drift_column()), slope, spread.correlated);
}

SegmentSwing report_segment(const JointProblem& problem,
                            const ParameterCovariance& spread,
                            const Segment& segment,
                            std::size_t index,
                            std::span<const Placed> placed) {
  const Parameters& p = problem.parameters();
  const double length_s = segment.to_s - segment.from_s;
  const auto drift = problem.drift_time().terms(segment.from_s + 0.5 * length_s);
  Eigen::VectorXd weights = Eigen::VectorXd::Zero(spread.correlated.cols());
  weights(*problem.level_column(segment.side)) = 1.0;
  double equilibrium_mm = p.levels[level_index(segment.side)];
  for (int k = 0; k < problem.drift_order(); ++k) {
    const auto term = static_cast<std::size_t>(k);
    weights(problem.drift_column() + k) = drift[term];
    equilibrium_mm += p.drift[term] * drift[term];
  }
  const double amplitude_mm = std::hypot(p.waves[index][0], p.waves[index][1]);
  Eigen::VectorXd along_wave = Eigen::VectorXd::Zero(spread.correlated.cols());
  const Eigen::Index wave_column =
      problem.drift_column() + problem.drift_order() + 2 * static_cast<Eigen::Index>(index);
  if (amplitude_mm > 0.0) {
    along_wave(wave_column) = p.waves[index][0] / amplitude_mm;
    along_wave(wave_column + 1) = p.waves[index][1] / amplitude_mm;
  }
  return {.segment = segment,
          .equilibrium_mm = combined(equilibrium_mm, weights, spread.correlated),
          .amplitude_from_mm = amplitude_mm,
          .u_amplitude_from_mm = combined(amplitude_mm, along_wave, spread.correlated).u,
          .amplitude_to_mm = amplitude_mm * std::exp(-p.swing[1] * length_s),
          .periods = length_s * p.swing[0] / (2.0 * std::numbers::pi),
          .used = static_cast<std::size_t>(std::ranges::count(placed, index, &Placed::segment))};
}

void judge(const JointProblem& problem, SwingFit& fit) {
  fit.status = FitStatus::kConverged;
  fit.message = "converged";
  const bool swings = std::ranges::any_of(fit.segments, [](const SegmentSwing& s) {
    return s.amplitude_from_mm > kSwingSigmas * s.u_amplitude_from_mm;
  });
  if (!swings) {
    fit.status = FitStatus::kNoSwing;
    fit.message =
        "the spot rests: no swing stands out from the noise, so that there is no period to compute "
        "G "
        "from; set the boom swinging by some millimetres and watch again";
    return;
  }
  for (const Side side : {Side::kPlus, Side::kMinus}) {
    if (!problem.has(side)) continue;
    double longest = 0.0;
    for (const SegmentSwing& s : fit.segments) {
      if (s.segment.side == side) longest = std::max(longest, s.periods);
    }
    if (longest < 1.0) {
      fit.status = FitStatus::kTooShort;
      fit.message = fmt::format(
          "side {} was watched for {:.2f} of a period of {:.0f} s; watch each side for at least "
          "one "
          "to two periods",
          name_of(side),
          longest,
          fit.period_s.value);
    }
  }
}

}  // namespace

SwingFit fit_swing(std::span<const SwingSample> samples,
                   std::span<const Segment> segments,
                   const SwingStart& start,
                   const SwingFitOptions& options) {
  if (segments.empty()) throw std::invalid_argument("fit_swing: no segment");
  for (const Segment& segment : segments) {
    if (segment.side == Side::kAway) throw std::invalid_argument("fit_swing: side away");
  }
  SwingFit fit;
  std::vector<Placed> placed = place(samples, segments);
  fit.message = too_few(placed, segments);
  if (!fit.message.empty()) return fit;
  JointProblem problem(segments, start, options);
  // Twice plainly and robustly: the first pass only finds the scatter that the loss is scaled by.
  Eigen::VectorXd residuals;
  Eigen::MatrixXd jacobian;
  bool usable = problem.solve(placed, std::nullopt);
  for (int round = 0; usable && round < 2; ++round) {
    problem.evaluate(residuals, jacobian);
    const double sigma = robust_sigma(residuals);
    if (!(sigma > 1e-9)) break;  // a noiseless track is fitted already
    usable = problem.solve(placed, sigma);
  }
  if (usable) {
    problem.evaluate(residuals, jacobian);
    if (robust_sigma(residuals) > 1e-9) leave_out(placed, residuals, fit);
    fit.message = too_few(placed, segments);
    if (!fit.message.empty()) return fit;
    usable = problem.solve(placed, std::nullopt);
  }
  if (!usable) {
    fit.message =
        "the swing could not be fitted; look at the track for jumps and marks that do not "
        "belong to it";
    return fit;
  }
  const ParameterCovariance spread = spread_of(problem, placed, fit);
  report_shared(problem, spread, fit);
  for (std::size_t k = 0; k < segments.size(); ++k) {
    fit.segments.push_back(report_segment(problem, spread, segments[k], k, placed));
  }
  judge(problem, fit);
  return fit;
}

}  // namespace nightswing::analysis
