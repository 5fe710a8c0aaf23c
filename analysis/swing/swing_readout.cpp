#include "analysis/swing/swing_readout.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "analysis/swing/least_squares_swing.h"

namespace nightswing::analysis {
namespace {

constexpr double kSecondsPerHour = 3600.0;

Measured along(const SwingEstimate& estimate, const Eigen::VectorXd& weights) {
  return {weights.dot(estimate.mean),
          std::sqrt(std::max(0.0, weights.dot(estimate.covariance * weights)))};
}

/// Reads the results out of the estimate. Columns: sides, drift, starts of the segments, w, g, (w).
class Readout {
 public:
  Readout(const PreparedSwing& prepared,
          const SwingModel& model,
          const SwingEstimate& estimate,
          const std::vector<double>& end_amplitude_mm)
      : prepared_(prepared),
        model_(model),
        estimate_(estimate),
        end_amplitude_mm_(end_amplitude_mm),
        sides_(sides_of(prepared.segments)),
        beta_(estimate.mean.size() - 2 - (model.away ? 1 : 0)) {}

  void write(SwingFit& fit) const {
    fit.kicks = model_.kicks;
    fit.drift_name = model_.drift.name();
    fit.degrees_of_freedom = estimate_.degrees_of_freedom;
    write_shared(fit);
    if (model_.away) write_away(fit);
    const double middle_s =
        0.5 * (prepared_.segments.front().from_s + prepared_.segments.back().to_s);
    fit.drift_mm_per_hour = along(estimate_, slope_at(middle_s));
    for (std::size_t k = 0; k < prepared_.segments.size(); ++k) {
      fit.segments.push_back(segment(k));
    }
  }

 private:
  [[nodiscard]] Eigen::VectorXd zero() const {
    return Eigen::VectorXd::Zero(estimate_.mean.size());
  }
  [[nodiscard]] Eigen::VectorXd level(Side side) const {
    Eigen::VectorXd weights = zero();
    const auto found = std::ranges::find(sides_, side);
    if (found != sides_.end()) weights(found - sides_.begin()) = 1.0;
    return weights;
  }
  [[nodiscard]] bool has(Side side) const { return std::ranges::count(sides_, side) > 0; }
  [[nodiscard]] Measured raised(Measured level) const {
    return {level.value + prepared_.origin_mm, level.u};
  }
  [[nodiscard]] double omega() const { return estimate_.mean(beta_); }

  void write_shared(SwingFit& fit) const {
    Eigen::MatrixXd to_result = Eigen::MatrixXd::Zero(4, estimate_.mean.size());
    to_result.row(0) = level(Side::kPlus).transpose();
    to_result.row(1) = level(Side::kMinus).transpose();
    const double period_s = 2.0 * std::numbers::pi / omega();
    to_result(2, beta_) = -period_s / omega();
    to_result(3, beta_ + 1) = 1.0;
    fit.covariance = to_result * estimate_.covariance * to_result.transpose();
    const auto u = [&](int k) { return std::sqrt(std::max(0.0, fit.covariance(k, k))); };
    if (has(Side::kPlus)) fit.plus_mm = raised(along(estimate_, level(Side::kPlus)));
    if (has(Side::kMinus)) fit.minus_mm = raised(along(estimate_, level(Side::kMinus)));
    fit.period_s = {period_s, u(2)};
    fit.damping_per_s = {estimate_.mean(beta_ + 1), u(3)};
    fit.has_both_sides = has(Side::kPlus) && has(Side::kMinus);
    if (fit.has_both_sides) {
      fit.shift_mm = along(estimate_, level(Side::kPlus) - level(Side::kMinus));
    }
  }

  void write_away(SwingFit& fit) const {
    fit.away_mm = raised(along(estimate_, level(Side::kAway)));
    if (fit.has_both_sides) {
      const Eigen::VectorXd midway = 0.5 * (level(Side::kPlus) + level(Side::kMinus));
      const double towards_plus = fit.shift_mm.value < 0.0 ? -1.0 : 1.0;
      fit.away_from_midway_mm = along(estimate_, towards_plus * (level(Side::kAway) - midway));
    }
    const double omega_away = estimate_.mean(beta_ + 2);
    const double period_s = 2.0 * std::numbers::pi / omega_away;
    fit.away_period_s = {
        period_s, period_s / omega_away * std::sqrt(estimate_.covariance(beta_ + 2, beta_ + 2))};
  }

  /// What gives the drift's slope at a moment [mm/h].
  [[nodiscard]] Eigen::VectorXd slope_at(double t_s) const {
    const double step_s =
        1e-4 * (prepared_.segments.back().to_s - prepared_.segments.front().from_s);
    const auto above = drift_terms(model_.drift, prepared_.segments, t_s + step_s);
    const auto below = drift_terms(model_.drift, prepared_.segments, t_s - step_s);
    Eigen::VectorXd slope = zero();
    for (std::size_t k = 0; k < above.size(); ++k) {
      slope(std::ssize(sides_) + static_cast<Eigen::Index>(k)) =
          (above[k] - below[k]) / (2.0 * step_s) * kSecondsPerHour;
    }
    return slope;
  }

  [[nodiscard]] SegmentSwing segment(std::size_t k) const {
    const Segment& s = prepared_.segments[k];
    Eigen::VectorXd weights = level(s.side);
    const auto terms = drift_terms(model_.drift, prepared_.segments, 0.5 * (s.from_s + s.to_s));
    for (std::size_t j = 0; j < terms.size(); ++j) {
      weights(std::ssize(sides_) + static_cast<Eigen::Index>(j)) = terms[j];
    }
    // u and u'/w_start at the first reading: amplitude of the damped swing through them.
    const Eigen::Index column =
        std::ssize(sides_) + model_.drift.columns() + 2 * static_cast<Eigen::Index>(k);
    const double omega_here =
        s.frequency_ratio * estimate_.mean(s.side == Side::kAway ? beta_ + 2 : beta_);
    const double start_omega = prepared_.least_squares.parameters.swing[0];
    const double cosine_mm = estimate_.mean(column);
    const double sine_mm =
        (start_omega * estimate_.mean(column + 1) + estimate_.mean(beta_ + 1) * cosine_mm) /
        omega_here;
    const double amplitude_mm = std::hypot(cosine_mm, sine_mm);
    Eigen::VectorXd along_swing = zero();
    if (amplitude_mm > 0.0) {
      along_swing(column) = cosine_mm / amplitude_mm;
      along_swing(column + 1) = sine_mm / amplitude_mm;
    }
    // Back from the first reading to where the segment starts.
    const double since_s = prepared_.first_reading_s[k] - s.from_s;
    const double grown = std::exp(estimate_.mean(beta_ + 1) * since_s);
    return {.segment = s,
            .equilibrium_mm = raised(along(estimate_, weights)),
            .drift_mm_per_hour = along(estimate_, slope_at(0.5 * (s.from_s + s.to_s))).value,
            .amplitude_from_mm = grown * amplitude_mm,
            .u_amplitude_from_mm = along(estimate_, along_swing).u,
            .amplitude_to_mm = end_amplitude_mm_[k],
            .periods = (s.to_s - s.from_s) * omega_here / (2.0 * std::numbers::pi),
            .used = static_cast<std::size_t>(
                std::ranges::count(prepared_.samples, k, &PlacedSample::segment))};
  }

  const PreparedSwing& prepared_;
  const SwingModel& model_;
  const SwingEstimate& estimate_;
  const std::vector<double>& end_amplitude_mm_;
  std::vector<Side> sides_;
  Eigen::Index beta_;
};

void judge(SwingFit& fit) {
  fit.status = FitStatus::kConverged;
  fit.message = "converged";
  const bool swings = std::ranges::any_of(fit.segments, [](const SegmentSwing& s) {
    return s.amplitude_from_mm > kSwingSigmas * s.u_amplitude_from_mm;
  });
  if (!swings) {
    fit.status = FitStatus::kNoSwing;
    fit.message = kSpotRests;
    return;
  }
  for (const Side side : {Side::kPlus, Side::kMinus}) {
    double longest = 0.0;
    bool present = false;
    for (const SegmentSwing& s : fit.segments) {
      if (s.segment.side != side) continue;
      present = true;
      longest = std::max(longest, s.periods);
    }
    if (present && longest < 1.0) {
      fit.status = FitStatus::kTooShort;
      fit.message = fmt::format(
          "side {} was watched for {:.2f} of a period of {:.0f} s; watch each side for at least "
          "one to two periods",
          name_of(side),
          longest,
          fit.period_s.value);
    }
  }
}

}  // namespace

void read_out(const PreparedSwing& prepared,
              const SwingModel& model,
              const SwingEstimate& estimate,
              const std::vector<double>& end_amplitude_mm,
              SwingFit& fit) {
  Readout(prepared, model, estimate, end_amplitude_mm).write(fit);
  judge(fit);
}

}  // namespace nightswing::analysis
