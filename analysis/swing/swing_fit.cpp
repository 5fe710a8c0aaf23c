#include "analysis/swing/swing_fit.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <utility>

#include <fmt/format.h>

#include "analysis/swing/swing_preparation.h"
#include "analysis/swing/swing_readout.h"
#include "analysis/swing/swing_uncertainty.h"

namespace nightswing::analysis {
namespace {

constexpr double kDisturbedSigmas = 5.0;
constexpr double kFinePerPeriod = 100.0;
constexpr double kCoarsePerPeriod = 30.0;
constexpr double kMostReadings = 4000.0;
constexpr std::ptrdiff_t kLeastReadings = 3;  // of a segment, when averaged for the search

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
  LikelihoodFit(PreparedSwing& prepared, const SwingFitOptions& options, SwingFit& fit)
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
    const auto at = static_cast<std::size_t>(std::ranges::max_element(estimate.weights) -
                                             estimate.weights.begin());
    NoiseBelief& likeliest = beliefs_[at];
    const FilterFit best = filter_fit(likeliest.track, likeliest.layout, likeliest.optimum.x);
    const SwingModel model =
        model_with(likeliest.layout.slow_noise ? chosen_.likeliest_slow_noise : SlowNoise::kNone);
    report_noise(likeliest, model.slow_noise, best.white_variance_mm2);
    report_residuals(likeliest, model, best.white_variance_mm2);
    read_out(prepared_, model, estimate, best.end_amplitude_mm, fit_);
    keep_filter(std::move(likeliest), model, best.white_variance_mm2);
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

  [[nodiscard]] SwingModel model_with(SlowNoise kind) const {
    SwingModel model = chosen_.model;
    model.slow_noise = kind;
    return model;
  }

  [[nodiscard]] FilterTrack track_with(SlowNoise kind) const {
    return track_of(
        model_with(kind), fine_, prepared_.segments, omega_, chosen_.white_variance_mm2);
  }

  [[nodiscard]] double samples_a_reading() const {
    return static_cast<double>(prepared_.samples.size()) / static_cast<double>(fine_.size());
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

  void report_noise(const NoiseBelief& belief, SlowNoise slow, double white_variance_mm2) {
    const SwingParameters p = plain_parameters(belief.track, belief.layout, belief.optimum.x);
    fit_.noise.white_mm = std::sqrt(white_variance_mm2 * samples_a_reading());
    // A swing without damping has no r.m.s. value of its own: what a thousand periods gather then.
    const double period_s = 2.0 * std::numbers::pi / p.omega_per_s;
    fit_.noise.torque_mm =
        std::sqrt(p.growth * white_variance_mm2 / std::max(2.0 * p.damping_per_s * period_s, 1e-3));
    if (slow == SlowNoise::kNone) return;
    fit_.noise.slow = slow;
    fit_.noise.slow_mm = std::sqrt(p.slow_ratio * white_variance_mm2);
    fit_.noise.slow_memory = p.slow_memory;
  }

  void keep_filter(NoiseBelief belief, const SwingModel& model, double white_variance_mm2) {
    fit_.filter = FittedFilter{.track = std::move(belief.track),
                               .layout = belief.layout,
                               .x = std::move(belief.optimum.x),
                               .model = model,
                               .segments = prepared_.segments,
                               .origin_mm = prepared_.origin_mm,
                               .white_variance_mm2 = white_variance_mm2,
                               .mean_square_u_mm2 = mean_square_u(fine_),
                               .reading_s = fine_s_};
  }

  /// By the samples themselves, not by their averages.
  void report_residuals(const NoiseBelief& belief,
                        const SwingModel& model,
                        double white_variance_mm2) {
    const FilterTrack track = track_of(model,
                                       prepared_.samples,
                                       prepared_.segments,
                                       omega_,
                                       white_variance_mm2 * samples_a_reading());
    // The white variance is the unit of the others, and a sample has more of it than a reading.
    std::vector<double> x = belief.optimum.x;
    x[2] -= std::log(samples_a_reading());
    if (belief.layout.slow_noise) x[3] -= std::log(samples_a_reading());
    // The start of a segment is here its first sample, not its first average: beta anew.
    const FilterFit by_samples = filter_fit(track, belief.layout, x);
    if (!by_samples.usable) return;
    fit_.residuals_mm = innovations_mm(track, belief.layout, x, by_samples.beta);
    double squares = 0.0;
    for (const double r : fit_.residuals_mm) squares += r * r;
    fit_.residual_rms_mm = std::sqrt(squares / static_cast<double>(fit_.residuals_mm.size()));
    for (const PlacedSample& s : prepared_.samples) fit_.fitted_t_s.push_back(s.sample.t_s);
  }

  PreparedSwing& prepared_;
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
  PreparedSwing prepared;
  prepared.segments.assign(segments.begin(), segments.end());
  prepared.samples = placed_samples(samples, prepared.segments);
  fit.message = too_few_to_fit(prepared.samples, segments);
  if (!fit.message.empty()) return fit;
  prepared.origin_mm = prepared.samples.front().sample.x_mm;
  for (PlacedSample& s : prepared.samples) s.sample.x_mm -= prepared.origin_mm;
  fit.message =
      "the swing could not be fitted; look at the track for jumps and marks that do not belong to "
      "it, and for a spot that goes to its place of rest without swinging past it: that has no "
      "period";
  prepared.least_squares = least_squares_start(prepared, start, options.drift_order);
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
  fit.left_out_s = take_out_false_readings(prepared);
  if (auto lack = too_few_to_fit(prepared.samples, segments); !lack.empty()) {
    fit.message = std::move(lack);
    return fit;
  }
  LikelihoodFit(prepared, options, fit).run();
  const double independent = prepared.least_squares.independent_shift_mm.u;
  if (independent > 0.0) fit.correlation_widening = fit.shift_mm.u / independent;
  return fit;
}

}  // namespace nightswing::analysis
