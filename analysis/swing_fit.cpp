#include "analysis/swing_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include <fmt/format.h>

#include "analysis/least_squares_swing.h"
#include "analysis/swing_track.h"
#include "analysis/swing_uncertainty.h"
#include "analysis/track_cleaning.h"

namespace nightswing::analysis {
namespace {

constexpr double kFalseReadingSigmas = 5.0;
constexpr double kDisturbedSigmas = 5.0;
constexpr double kSwingSigmas = 5.0;
constexpr double kSecondsPerHour = 3600.0;
constexpr double kFinePerPeriod = 100.0;
constexpr double kCoarsePerPeriod = 30.0;
constexpr double kMostReadings = 4000.0;
constexpr std::ptrdiff_t kLeastPerSegment = 4;  // twice the unknowns of its swing
constexpr std::ptrdiff_t kLeastReadings = 3;    // of a segment, when averaged for the search
constexpr std::size_t kLeastSquaresSamples = 4000;
/// A scatter below this is rounding: the track was made without noise.
constexpr double kNoiseless_mm = 1e-9;

struct Prepared {
  std::vector<Segment> segments;
  std::vector<PlacedSample> samples;
  LeastSquaresSwing least_squares;
  std::vector<double> first_reading_s;  ///< of each segment
  double origin_mm = 0.0;  ///< taken off all positions: sums of squares keep their digits
};

/// Why these positions do not carry a fit; empty if they do.
std::string too_few(std::span<const PlacedSample> samples, std::span<const Segment> segments) {
  if (samples.size() < 2 * (6 + 2 * segments.size())) {
    return fmt::format("{} positions in the segments are too few to fit", samples.size());
  }
  for (std::size_t k = 0; k < segments.size(); ++k) {
    const auto count = std::ranges::count(samples, k, &PlacedSample::segment);
    if (count >= kLeastPerSegment) continue;
    return fmt::format("side {} from {:.0f} s to {:.0f} s has {} positions, too few to fit",
                       name_of(segments[k].side),
                       segments[k].from_s,
                       segments[k].to_s,
                       count);
  }
  return {};
}

/// 1.4826 times the median of |r|: the standard deviation of normal scatter, blind to a few
/// outliers.
double robust_sigma(std::vector<double> residuals) {
  for (double& r : residuals) r = std::abs(r);
  return 1.4826 * median_of(std::move(residuals));
}

/// Each value less the median of the nine around it: a disturbed swing passes, a false reading
/// stays.
std::vector<double> less_running_median(const std::vector<double>& values) {
  constexpr std::size_t kWindow = 9;
  std::vector<double> rest(values.size(), 0.0);
  if (values.size() < kWindow) return rest;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const std::size_t first = std::clamp<std::size_t>(i, 4, values.size() - 5) - 4;
    std::array<double, kWindow> around{};
    std::copy_n(values.begin() + static_cast<std::ptrdiff_t>(first), kWindow, around.begin());
    std::ranges::nth_element(around, around.begin() + 4);
    rest[i] = values[i] - around[4];
  }
  return rest;
}

void leave_out_false_readings(Prepared& prepared, SwingFit& fit) {
  std::vector<double> residuals;
  const std::vector<Segment>& segments = prepared.segments;
  std::vector<Segment> near;
  std::vector<std::size_t> near_index(segments.size(), 0);
  for (std::size_t k = 0; k < segments.size(); ++k) {
    near_index[k] = near.size();
    if (segments[k].side != Side::kAway) near.push_back(segments[k]);
  }
  for (const PlacedSample& s : prepared.samples) {
    const Segment& segment = segments[s.segment];
    // The swing of an away segment is not known yet; the running median follows it well enough.
    const double expected_mm =
        segment.side == Side::kAway
            ? 0.0
            : prepared.least_squares.position_mm(s.sample.t_s, segment, near_index[s.segment]);
    residuals.push_back(s.sample.x_mm - expected_mm);
  }
  const std::vector<double> rest = less_running_median(residuals);
  const double limit = kFalseReadingSigmas * robust_sigma(rest);
  if (!(limit > kNoiseless_mm)) return;
  std::vector<PlacedSample> kept;
  for (std::size_t i = 0; i < rest.size(); ++i) {
    if (std::abs(rest[i]) <= limit) {
      kept.push_back(prepared.samples[i]);
    } else {
      fit.left_out_s.push_back(prepared.samples[i].sample.t_s);
    }
  }
  prepared.samples = std::move(kept);
}

Measured along(const SwingEstimate& estimate, const Eigen::VectorXd& weights) {
  return {weights.dot(estimate.mean),
          std::sqrt(std::max(0.0, weights.dot(estimate.covariance * weights)))};
}

/// Reads the results out of the estimate. Columns: sides, drift, starts of the segments, w, g, (w).
class Report {
 public:
  Report(const Prepared& prepared,
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
    const double start_omega = prepared_.least_squares.parameters.swing[0];
    const double cosine_mm = estimate_.mean(column);
    const double sine_mm =
        (start_omega * estimate_.mean(column + 1) + estimate_.mean(beta_ + 1) * cosine_mm) /
        omega();
    const double amplitude_mm = std::hypot(cosine_mm, sine_mm);
    Eigen::VectorXd along_swing = zero();
    if (amplitude_mm > 0.0) {
      along_swing(column) = cosine_mm / amplitude_mm;
      along_swing(column + 1) = sine_mm / amplitude_mm;
    }
    const double omega_here =
        s.side == Side::kAway ? estimate_.mean(beta_ + 2) : estimate_.mean(beta_);
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

  const Prepared& prepared_;
  const SwingModel& model_;
  const SwingEstimate& estimate_;
  const std::vector<double>& end_amplitude_mm_;
  std::vector<Side> sides_;
  Eigen::Index beta_;
};

constexpr const char* kSpotRests =
    "the spot rests: no swing stands out from the noise, so that there is no period to compute G "
    "from; set the boom swinging by some millimetres and watch again";

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

/// Samples for the least-squares start: without spikes, thinned, near segments only.
LeastSquaresSwing least_squares_of(const Prepared& prepared,
                                   const SwingStart& start,
                                   const SwingFitOptions& options) {
  std::vector<SwingSample> series;
  for (const PlacedSample& s : prepared.samples) series.push_back(s.sample);
  std::vector<Segment> near;
  for (const Segment& s : prepared.segments) {
    if (s.side != Side::kAway) near.push_back(s);
  }
  const int order = options.drift_order.value_or(near.size() < 4 ? 1 : 2);
  return least_squares_swing(
      thinned(series, kLeastSquaresSamples), near, start, std::min(order, 2));
}

double mean_square_u(std::span<const PlacedSample> readings) {
  double sum = 0.0;
  for (const PlacedSample& r : readings) sum += r.sample.u_mm * r.sample.u_mm;
  return sum / static_cast<double>(readings.size());
}

Eigen::VectorXd shift_direction(std::span<const Segment> segments, Eigen::Index columns) {
  const auto sides = sides_of(segments);
  Eigen::VectorXd direction = Eigen::VectorXd::Zero(columns);
  direction(0) = 1.0;
  if (sides.size() > 1 && sides[0] == Side::kPlus && sides[1] == Side::kMinus) direction(1) = -1.0;
  return direction;
}

/// Different drifts that the evidence cannot tell apart lead to different shifts: that much is
/// uncertain too.
void widen_for_drift(const ChosenModel& chosen, Eigen::MatrixXd& covariance) {
  const auto own = std::ranges::max_element(chosen.drifts, {}, &DriftBelief::weight);
  if (own == chosen.drifts.end()) return;
  double variance = 0.0;
  for (const DriftBelief& belief : chosen.drifts) {
    variance += belief.weight * std::pow(belief.shift_mm - own->shift_mm, 2);
  }
  if (!(variance > 0.0)) return;
  // Half of the shift's doubt to each side, in opposite directions.
  Eigen::Matrix2d doubt;
  doubt << 0.25, -0.25, -0.25, 0.25;
  covariance.topLeftCorner<2, 2>() += variance * doubt;
}

/// The likelihood part of the fit, on readings that are averaged but fine enough.
class LikelihoodFit {
 public:
  LikelihoodFit(Prepared& prepared, const SwingFitOptions& options, SwingFit& fit)
      : prepared_(prepared), fit_(fit), omega_(prepared.least_squares.parameters.swing[0]) {
    if (options.drift_order) {
      given_drift_ = DriftModel{.order = *options.drift_order, .relaxation_s = {}};
    }
    const double period_s = 2.0 * std::numbers::pi / omega_;
    const double span_s = prepared.segments.back().to_s - prepared.segments.front().from_s;
    coarse_s_ = period_s / kCoarsePerPeriod;
    fine_s_ = std::clamp(span_s / kMostReadings, period_s / kFinePerPeriod, coarse_s_);
    fine_ = averaged(prepared.samples, fine_s_);
  }

  void run() {
    if (too_brief()) return;
    const bool noiseless = !(prepared_.least_squares.residual_rms_mm > kNoiseless_mm);
    if (!(noiseless ? choose_noiseless() : choose())) return;
    SwingEstimate estimate = average_over_noise(
        beliefs_,
        prepared_.least_squares.residual_rms_mm,
        shift_direction(prepared_.segments,
                        beliefs_[0].track.design.cols() + 2 * beliefs_[0].track.segments));
    if (!estimate.usable) return;
    for (const FilterPoint& point : beliefs_[0].track.points) {
      if (point.starts_segment) prepared_.first_reading_s.push_back(point.t_s);
    }
    if (fit_.has_both_sides) widen_for_drift(chosen_, estimate.covariance);
    const auto likeliest = static_cast<std::size_t>(std::ranges::max_element(estimate.weights) -
                                                    estimate.weights.begin());
    report_noise(beliefs_[likeliest]);
    report_residuals(beliefs_[likeliest]);
    const FilterFit best = filter_fit(
        beliefs_[likeliest].track, beliefs_[likeliest].layout, beliefs_[likeliest].optimum.x);
    Report(prepared_, chosen_.model, estimate, best.end_amplitude_mm).write(fit_);
    judge(fit_);
  }

 private:
  /// A segment that was watched for a small part of a period says nothing of its swing.
  bool too_brief() {
    const auto coarse = averaged(prepared_.samples, coarse_s_);
    for (std::size_t k = 0; k < prepared_.segments.size(); ++k) {
      if (std::ranges::count(coarse, k, &PlacedSample::segment) >= kLeastReadings) continue;
      const Segment& segment = prepared_.segments[k];
      fit_.message = fmt::format(
          "side {} from {:.0f} s to {:.0f} s shows too little of a period of {:.0f} s to fit",
          name_of(segment.side),
          segment.from_s,
          segment.to_s,
          2.0 * std::numbers::pi / omega_);
      return true;
    }
    return false;
  }

  [[nodiscard]] FilterTrack track_with(SlowNoise kind) const {
    SwingModel model = chosen_.model;
    model.slow_noise = kind;
    return track_of(model, fine_, prepared_.segments, omega_, chosen_.white_variance_mm2);
  }

  /// A track without any noise has no likelihood; least squares is exact there. The filter then
  /// only turns its numbers into rest positions, with a torque noise that is far below any digit.
  bool choose_noiseless() {
    const auto& swing = prepared_.least_squares.parameters.swing;
    chosen_.model.drift = given_drift_.value_or(DriftModel{});
    chosen_.model.away = std::ranges::count(sides_of(prepared_.segments), Side::kAway) > 0;
    chosen_.white_variance_mm2 = 1.0;
    const FilterLayout layout = chosen_.model.layout();
    FilterTrack track = track_with(SlowNoise::kNone);
    auto x = parameter_vector(track,
                              layout,
                              {.omega_per_s = swing[0],
                               .damping_per_s = swing[1],
                               .growth = 1e-12,
                               .away_omega_per_s = swing[0]});
    beliefs_.push_back({std::move(track), layout, {true, std::move(x), 0.0}});
    return true;
  }

  bool choose() {
    const auto coarse = averaged(prepared_.samples, coarse_s_);
    const LeastSquaresSwing& ls = prepared_.least_squares;
    chosen_ = choose_model(coarse,
                           prepared_.segments,
                           {.omega_per_s = omega_,
                            .damping_per_s = ls.parameters.swing[1],
                            .residual_rms_mm = ls.residual_rms_mm,
                            .drift = given_drift_});
    if (!chosen_.optimum.converged) return false;
    // The white variance of a reading is smaller now by the number of samples in it.
    const double ratio = mean_square_u(coarse) / mean_square_u(fine_);
    chosen_.white_variance_mm2 /= ratio;
    std::vector<double> x = chosen_.optimum.x;
    x[2] += std::log(ratio);
    if (chosen_.model.slow_noise != SlowNoise::kNone) x[3] += std::log(ratio);
    const FilterTrack track = track_with(chosen_.model.slow_noise);
    Optimum optimum = maximise(track, chosen_.model.layout(), x);
    if (!optimum.converged) return false;
    leave_out_disturbances(track, optimum);
    add_beliefs(optimum.x);
    return !beliefs_.empty();
  }

  /// With slow noise and without: the likelihood will weigh them.
  void add_beliefs(const std::vector<double>& x) {
    const bool has_slow = chosen_.model.slow_noise != SlowNoise::kNone;
    for (const SlowNoise kind : {SlowNoise::kNone, chosen_.likeliest_slow_noise}) {
      FilterTrack track = track_with(kind);
      std::vector<double> from = x;
      if (has_slow && kind == SlowNoise::kNone) from.erase(from.begin() + 3, from.begin() + 5);
      FilterLayout layout = chosen_.model.layout();
      layout.slow_noise = kind != SlowNoise::kNone;
      Optimum optimum = layout.slow_noise && !has_slow ? best_with_slow_noise(track, layout, from)
                                                       : maximise(track, layout, from);
      if (!optimum.converged) continue;
      beliefs_.push_back({std::move(track), layout, std::move(optimum)});
    }
  }

  /// Takes readings out whose smoothed error is too large to be noise, and names their samples.
  void leave_out_disturbances(const FilterTrack& track, const Optimum& optimum) {
    const std::vector<Shock> shocks = find_shocks(track, chosen_.model.layout(), optimum.x);
    std::vector<PlacedSample> kept;
    std::vector<double> out_s;
    for (std::size_t i = 0; i < shocks.size(); ++i) {
      const bool out = std::abs(shocks[i].outlier_z) > kDisturbedSigmas;
      if (out) out_s.push_back(fine_[i].sample.t_s);
      if (!out) kept.push_back(fine_[i]);
    }
    if (out_s.empty() || out_s.size() > fine_.size() / 10) return;
    fine_ = std::move(kept);
    std::erase_if(prepared_.samples, [&](const PlacedSample& s) {
      const bool out = std::ranges::any_of(
          out_s, [&](double t_s) { return std::abs(s.sample.t_s - t_s) <= 0.5 * fine_s_; });
      if (out) fit_.left_out_s.push_back(s.sample.t_s);
      return out;
    });
    std::ranges::sort(fit_.left_out_s);
  }

  void report_noise(const NoiseBelief& belief) {
    const SwingParameters p = plain_parameters(belief.track, belief.layout, belief.optimum.x);
    const FilterFit at = filter_fit(belief.track, belief.layout, belief.optimum.x);
    const double samples_a_reading =
        static_cast<double>(prepared_.samples.size()) / static_cast<double>(fine_.size());
    fit_.noise.white_mm = std::sqrt(at.white_variance_mm2 * samples_a_reading);
    // A swing without damping has no r.m.s. value of its own: what a thousand periods gather then.
    const double period_s = 2.0 * std::numbers::pi / p.omega_per_s;
    fit_.noise.torque_mm = std::sqrt(p.growth * at.white_variance_mm2 /
                                     std::max(2.0 * p.damping_per_s * period_s, 1e-3));
    if (!belief.layout.slow_noise) return;
    fit_.noise.slow = chosen_.likeliest_slow_noise;
    fit_.noise.slow_mm = std::sqrt(p.slow_ratio * at.white_variance_mm2);
    fit_.noise.slow_memory = p.slow_memory;
  }

  /// By the samples themselves, not by their averages.
  void report_residuals(const NoiseBelief& belief) {
    const FilterFit at = filter_fit(belief.track, belief.layout, belief.optimum.x);
    const double samples_a_reading =
        static_cast<double>(prepared_.samples.size()) / static_cast<double>(fine_.size());
    SwingModel model = chosen_.model;
    model.slow_noise = belief.layout.slow_noise ? chosen_.likeliest_slow_noise : SlowNoise::kNone;
    const FilterTrack track = track_of(model,
                                       prepared_.samples,
                                       prepared_.segments,
                                       omega_,
                                       at.white_variance_mm2 * samples_a_reading);
    // The white variance is the unit of the others, and a sample has more of it than a reading.
    std::vector<double> x = belief.optimum.x;
    x[2] -= std::log(samples_a_reading);
    if (belief.layout.slow_noise) x[3] -= std::log(samples_a_reading);
    // The start of a segment is here its first sample, not its first average: beta anew.
    const FilterFit by_samples = filter_fit(track, belief.layout, x);
    if (!by_samples.usable) return;
    fit_.residuals_mm = innovations_mm(track, belief.layout, x, by_samples.beta);
    double squares = 0.0;
    for (const double r : fit_.residuals_mm) squares += r * r;
    fit_.residual_rms_mm = std::sqrt(squares / static_cast<double>(fit_.residuals_mm.size()));
    for (const PlacedSample& s : prepared_.samples) fit_.fitted_t_s.push_back(s.sample.t_s);
  }

  Prepared& prepared_;
  SwingFit& fit_;
  double omega_;
  double coarse_s_ = 0.0;
  double fine_s_ = 0.0;
  std::optional<DriftModel> given_drift_;
  std::vector<PlacedSample> fine_;
  ChosenModel chosen_;
  std::vector<NoiseBelief> beliefs_;
};

}  // namespace

SwingFit fit_swing(std::span<const SwingSample> samples,
                   std::span<const Segment> segments,
                   const SwingStart& start,
                   const SwingFitOptions& options) {
  if (segments.empty()) throw std::invalid_argument("fit_swing: no segment");
  SwingFit fit;
  Prepared prepared;
  prepared.segments.assign(segments.begin(), segments.end());
  prepared.samples = placed_samples(samples, prepared.segments);
  fit.message = too_few(prepared.samples, segments);
  if (!fit.message.empty()) return fit;
  prepared.origin_mm = prepared.samples.front().sample.x_mm;
  for (PlacedSample& s : prepared.samples) s.sample.x_mm -= prepared.origin_mm;
  fit.message =
      "the swing could not be fitted; look at the track for jumps and marks that do not belong to "
      "it";
  prepared.least_squares = least_squares_of(prepared, start, options);
  if (!prepared.least_squares.converged) return fit;
  fit.residual_rms_mm = prepared.least_squares.residual_rms_mm;
  if (!prepared.least_squares.swings) {
    fit.status = FitStatus::kNoSwing;
    fit.message = kSpotRests;
    return fit;
  }
  fit.least_squares_shift_mm = prepared.least_squares.shift_mm;
  const auto sides = sides_of(prepared.segments);
  fit.has_both_sides =
      std::ranges::count(sides, Side::kPlus) + std::ranges::count(sides, Side::kMinus) == 2;
  leave_out_false_readings(prepared, fit);
  if (auto lack = too_few(prepared.samples, segments); !lack.empty()) {
    fit.message = std::move(lack);
    return fit;
  }
  LikelihoodFit(prepared, options, fit).run();
  const double independent = prepared.least_squares.independent_shift_mm.u;
  if (independent > 0.0) fit.correlation_widening = fit.shift_mm.u / independent;
  return fit;
}

}  // namespace nightswing::analysis
