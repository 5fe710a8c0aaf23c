#include "analysis/swing/swing_search.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include <ceres/first_order_function.h>
#include <ceres/gradient_problem.h>
#include <ceres/gradient_problem_solver.h>

#include "analysis/quantities/median.h"

namespace nightswing::analysis {
namespace {

constexpr double kSlowGain = 3.0;
constexpr double kPositionPrice = 5.0;
/// In so many of the nights without any kick one may be reported.
constexpr double kFalseKickNights = 0.02;
constexpr std::size_t kMostKicks = 24;
constexpr int kKicksAhead = 4;
/// A kick is looked for with this much less torque noise (in variance).
constexpr double kLoweredNoise = 1e-2;
/// No noise moves the spot more than ten times as far as it was seen to move.
constexpr double kLargestNoise = 100.0;
constexpr double kLeastLogGrowth = -25.0;

/// Minus the restricted log-likelihood, less its start value so that the optimiser's relative
/// tolerances mean something.
class Descent final : public ceres::FirstOrderFunction {
 public:
  Descent(const FilterTrack& track, const FilterLayout& layout, double origin)
      : track_(track), layout_(layout), origin_(origin) {}

  bool Evaluate(const double* x, double* cost, double* gradient) const override {
    const std::span<const double> parameters(x, static_cast<std::size_t>(layout_.size()));
    if (gradient == nullptr) {
      const FilterFit fit = filter_fit(track_, layout_, parameters);
      *cost = origin_ - fit.restricted_log_likelihood;
      return fit.usable;
    }
    const FilterGradient at = filter_gradient(track_, layout_, parameters);
    if (!at.usable) return false;
    *cost = origin_ - at.restricted_log_likelihood;
    Eigen::Map<Eigen::VectorXd>(gradient, at.gradient.size()) = -at.gradient;
    return true;
  }
  [[nodiscard]] int NumParameters() const override { return layout_.size(); }

 private:
  const FilterTrack& track_;
  FilterLayout layout_;
  double origin_;
};

bool has_both_sides(std::span<const Segment> segments) {
  return std::ranges::count(segments, Side::kPlus, &Segment::side) > 0 &&
         std::ranges::count(segments, Side::kMinus, &Segment::side) > 0;
}

/// The part of the readings that neighbours do not share, by fourth differences: those of a swing
/// are (w dt)^4 of its amplitude, next to nothing.
double white_variance_of(std::span<const PlacedSample> readings) {
  constexpr double kSumOfSquares = 70.0;  // 1, 4, 6, 4, 1
  std::vector<double> squares;
  for (std::size_t i = 4; i < readings.size(); ++i) {
    if (readings[i].segment != readings[i - 4].segment) continue;
    const auto x = [&](std::size_t back) { return readings[i - back].sample.x_mm; };
    const double d = x(0) - 4.0 * x(1) + 6.0 * x(2) - 4.0 * x(3) + x(4);
    squares.push_back(d * d / kSumOfSquares);
  }
  // The median of a squared normal number is 0.455 of its mean.
  return squares.empty() ? 1.0 : std::max(1e-12, median_of(std::move(squares)) / 0.455);
}

class Search {
 public:
  Search(std::span<const PlacedSample> readings,
         std::span<const Segment> segments,
         const SearchStart& start)
      : readings_(readings), segments_(segments), start_(start) {
    chosen_.model.drift = start.drift.value_or(DriftModel{.order = 1, .relaxation_s = {}});
    chosen_.model.away = std::ranges::count(segments, Side::kAway, &Segment::side) > 0;
    chosen_.white_variance_mm2 = white_variance_of(readings);
  }

  ChosenModel run() {
    choose_torque_noise();
    if (!chosen_.optimum.converged) return chosen_;
    choose_kicks();
    choose_slow_noise();
    choose_drift();
    return chosen_;
  }

 private:
  [[nodiscard]] FilterTrack track(const SwingModel& model) const {
    return track_of(model, readings_, segments_, start_.omega_per_s, chosen_.white_variance_mm2);
  }

  void choose_torque_noise() {
    const double period_s = 2.0 * std::numbers::pi / start_.omega_per_s;
    const double excess = std::max(
        0.01, start_.residual_rms_mm * start_.residual_rms_mm / chosen_.white_variance_mm2 - 1.0);
    const double growth =
        excess * std::min(1.0, 2.0 * std::abs(start_.damping_per_s) * period_s + 0.1);
    const FilterTrack filter = track(chosen_.model);
    const FilterLayout layout = chosen_.model.layout();
    Optimum best;
    // The likelihood can have one top without torque noise and one with much of it; the free swing
    // of away segments is a few per cent faster or slower.
    std::vector<double> away_factors{1.0};
    if (chosen_.model.away) away_factors = {0.96, 0.98, 1.0, 1.02, 1.04};
    std::vector<std::vector<double>> starts;
    for (const double factor : {1.0, 1e-3}) {
      std::vector<std::pair<double, std::vector<double>>> tried;
      for (const double away : away_factors) {
        auto x = parameter_vector(filter,
                                  layout,
                                  {.omega_per_s = start_.omega_per_s,
                                   .damping_per_s = start_.damping_per_s,
                                   .growth = factor * growth,
                                   .away_omega_per_s = away * start_.omega_per_s});
        const FilterFit fit = filter_fit(filter, layout, x);
        if (fit.usable) tried.emplace_back(fit.restricted_log_likelihood, std::move(x));
      }
      if (!tried.empty()) starts.push_back(std::ranges::max(tried).second);
    }
    for (auto& x : starts) {
      Optimum optimum = maximise(filter, layout, std::move(x));
      if (optimum.converged && (!best.converged || optimum.log_likelihood > best.log_likelihood)) {
        best = std::move(optimum);
      }
    }
    accept(chosen_.model, std::move(best));
  }

  void accept(const SwingModel& model, Optimum optimum) {
    chosen_.model = model;
    chosen_.optimum = std::move(optimum);
  }

  /// Readings before which a kick may have been.
  [[nodiscard]] double places() const {
    return static_cast<double>(readings_.size() - segments_.size());
  }

  /// What the log-likelihood must gain for so many kicks at once. Without any, a gain of c comes by
  /// chance with a probability of exp(-c) at most for each set of places (Markov's inequality: the
  /// mean of a likelihood ratio is 1 then), and there are n^k/k! sets to try.
  [[nodiscard]] double gain_wanted(int kicks) const {
    return kicks * std::log(places()) - std::lgamma(kicks + 1.0) - std::log(kFalseKickNights);
  }

  /// The model with one kick more, where it is missed most; nothing if none is.
  [[nodiscard]] std::optional<std::pair<SwingModel, Optimum>> with_one_more_kick(
      const SwingModel& before, const Optimum& optimum_before) const {
    std::vector<double> x = optimum_before.x;
    x[2] = std::max(kLeastLogGrowth, x[2] + std::log(kLoweredNoise));
    const std::vector<Shock> shocks = find_shocks(track(before), before.layout(), x);
    if (shocks.empty()) return std::nullopt;
    const auto best = std::ranges::max_element(
        shocks, {}, [](const Shock& shock) { return std::abs(shock.kick_z); });
    if (0.5 * best->kick_z * best->kick_z < std::log(places())) return std::nullopt;
    SwingModel model = before;
    const auto at = static_cast<std::size_t>(best - shocks.begin());
    model.kicks.push_back({readings_[at].sample.t_s, best->kick_mm_per_s});
    const FilterTrack filter = track(model);
    Optimum optimum = maximise(filter, model.layout(), optimum_before.x);
    // From little torque noise too: the kick may have been all that there was.
    x[2] = std::max(kLeastLogGrowth, optimum_before.x[2] - 4.0);
    Optimum quieter = maximise(filter, model.layout(), x);
    if (quieter.converged &&
        (!optimum.converged || quieter.log_likelihood > optimum.log_likelihood)) {
      optimum = std::move(quieter);
    }
    if (!optimum.converged) return std::nullopt;
    return std::pair{model, optimum};
  }

  void choose_kicks() {
    // One of several kicks gains little while the others still pass for torque noise: look ahead.
    SwingModel model = chosen_.model;
    Optimum optimum = chosen_.optimum;
    int ahead = 0;
    while (ahead < kKicksAhead && model.kicks.size() < kMostKicks) {
      auto next = with_one_more_kick(model, optimum);
      if (!next) return;
      model = next->first;
      optimum = next->second;
      ++ahead;
      if (optimum.log_likelihood > chosen_.optimum.log_likelihood + gain_wanted(ahead)) {
        accept(model, optimum);
        ahead = 0;
      }
    }
  }

  void choose_slow_noise() {
    double best_gain = -1e300;
    std::pair<SwingModel, Optimum> best;
    for (const SlowNoise kind : {SlowNoise::kInTime, SlowNoise::kInPosition}) {
      SwingModel model = chosen_.model;
      model.slow_noise = kind;
      const FilterTrack filter = track(model);
      const double step = typical_slow_step(filter);
      Optimum optimum = best_with_slow_noise(filter, model.layout(), chosen_.optimum.x);
      // What fades within a reading is white noise by another name.
      if (!optimum.converged || optimum.x[4] < std::log(step)) continue;
      // In position only if that is clearly better than in time.
      const double gain =
          optimum.log_likelihood - (kind == SlowNoise::kInTime ? 0.0 : kPositionPrice);
      if (gain <= best_gain) continue;
      best_gain = gain;
      best = {model, std::move(optimum)};
      chosen_.likeliest_slow_noise = kind;
    }
    if (best_gain > chosen_.optimum.log_likelihood + kSlowGain) {
      accept(best.first, std::move(best.second));
    }
  }

  [[nodiscard]] std::vector<DriftModel> drift_candidates() const {
    std::vector<DriftModel> drifts{{.order = 1, .relaxation_s = {}},
                                   {.order = 2, .relaxation_s = {}}};
    const auto near_segments =
        std::ssize(segments_) - std::ranges::count(segments_, Side::kAway, &Segment::side);
    if (near_segments >= 4) drifts.push_back({.order = 3, .relaxation_s = {}});
    const double span_s = segments_.back().to_s - segments_.front().from_s;
    for (const double share : {0.08, 0.16}) {
      drifts.push_back({.order = 1, .relaxation_s = share * span_s});
    }
    return drifts;
  }

  void choose_drift() {
    const bool given = start_.drift.has_value();
    const double log_n = std::log(static_cast<double>(readings_.size()));
    std::vector<double> criteria;
    std::vector<std::pair<SwingModel, Optimum>> fits;
    for (const DriftModel& drift :
         given ? std::vector<DriftModel>{*start_.drift} : drift_candidates()) {
      SwingModel model = chosen_.model;
      model.drift = drift;
      const FilterTrack filter = track(model);
      Optimum optimum = drift == chosen_.model.drift
                            ? chosen_.optimum
                            : maximise(filter, model.layout(), chosen_.optimum.x);
      if (!optimum.converged) continue;
      const FilterFit fit = filter_fit(filter, model.layout(), optimum.x);
      // The relaxation time is a parameter as well, and was picked from a few.
      const double parameters = drift.columns() + (drift.relaxation_s ? 1.0 : 0.0);
      criteria.push_back(2.0 * fit.log_likelihood - parameters * log_n);
      const double shift = has_both_sides(segments_) ? fit.beta(0) - fit.beta(1) : 0.0;
      chosen_.drifts.push_back({drift, 0.0, shift});
      fits.emplace_back(model, std::move(optimum));
    }
    if (fits.empty()) return;
    const auto best = std::ranges::max_element(criteria);
    double sum = 0.0;
    for (std::size_t k = 0; k < criteria.size(); ++k) {
      sum += chosen_.drifts[k].weight = std::exp(0.5 * (criteria[k] - *best));
    }
    for (DriftBelief& belief : chosen_.drifts) belief.weight /= sum;
    auto& [model, optimum] = fits[static_cast<std::size_t>(best - criteria.begin())];
    accept(model, std::move(optimum));
  }

  std::span<const PlacedSample> readings_;
  std::span<const Segment> segments_;
  SearchStart start_;
  ChosenModel chosen_;
};

/// Mean square of all positions about their mean.
double motion_mm2(std::span<const PlacedSample> readings) {
  double sum = 0.0;
  double square = 0.0;
  for (const PlacedSample& r : readings) {
    sum += r.sample.x_mm;
    square += r.sample.x_mm * r.sample.x_mm;
  }
  const auto n = static_cast<double>(readings.size());
  return std::max(0.0, square - sum * sum / n) / n;
}

/// Lets slow noise fade with the way travelled, of the path smoothed over five readings: the
/// readings' own noise is no way.
void count_travel(FilterTrack& track) {
  const std::vector<FilterPoint> points = track.points;
  const auto smooth_mm = [&](std::size_t i) {
    const std::size_t first = i < 2 ? 0 : i - 2;
    const std::size_t last = std::min(points.size() - 1, i + 2);
    double sum = 0.0;
    for (std::size_t k = first; k <= last; ++k) sum += points[k].x_mm;
    return sum / static_cast<double>(last - first + 1);
  };
  for (std::size_t i = 1; i < points.size(); ++i) {
    track.points[i].slow_step = std::abs(smooth_mm(i) - smooth_mm(i - 1));
  }
}

}  // namespace

double typical_slow_step(const FilterTrack& track) {
  std::vector<double> steps;
  for (const FilterPoint& point : track.points) steps.push_back(point.slow_step);
  return std::max(1e-6, median_of(std::move(steps)));
}

FilterTrack track_of(const SwingModel& model,
                     std::span<const PlacedSample> readings,
                     std::span<const Segment> segments,
                     double omega_per_s,
                     double white_variance_mm2) {
  FilterTrack track = filter_track(readings, segments, model.drift, omega_per_s);
  if (model.slow_noise == SlowNoise::kInPosition) count_travel(track);
  track.largest_log_noise =
      std::log(kLargestNoise * (1.0 + motion_mm2(readings) / white_variance_mm2));
  for (const Kick& kick : model.kicks) {
    const auto point =
        std::ranges::lower_bound(track.points, kick.t_s - 1e-6, {}, &FilterPoint::t_s);
    if (point == track.points.end() || point->starts_segment) continue;
    point->kick_variance += kick.change_mm_per_s * kick.change_mm_per_s / white_variance_mm2;
  }
  return track;
}

Optimum maximise(const FilterTrack& track, const FilterLayout& layout, std::vector<double> x) {
  Optimum optimum;
  const FilterFit begin = filter_fit(track, layout, x);
  if (!begin.usable) return optimum;
  const ceres::GradientProblem problem(new Descent(track, layout, begin.restricted_log_likelihood));
  ceres::GradientProblemSolver::Options options;
  options.line_search_direction_type = ceres::BFGS;
  options.max_num_iterations = 80;
  options.function_tolerance = 1e-7;
  options.gradient_tolerance = 3e-3;  // of a log-likelihood by about one uncertainty
  options.parameter_tolerance = 1e-9;
  options.logging_type = ceres::SILENT;
  ceres::GradientProblemSolver::Summary summary;
  ceres::Solve(options, problem, x.data(), &summary);
  const FilterFit end = filter_fit(track, layout, x);
  optimum.converged = end.usable;
  optimum.log_likelihood = end.restricted_log_likelihood;
  optimum.x = std::move(x);
  return optimum;
}

Optimum best_with_slow_noise(const FilterTrack& track,
                             const FilterLayout& layout,
                             const std::vector<double>& without) {
  // Torque noise may have taken the slow noise's part: start with less of it too.
  const double step = typical_slow_step(track);
  Optimum best;
  struct Start {
    double less_growth, steps, ratio;
  };
  for (const auto& [less_growth, steps, ratio] :
       {Start{0.0, 4.0, 0.5}, Start{3.0, 20.0, 0.5}, Start{10.0, 6.0, 5.0}}) {
    std::vector<double> x = without;
    x[2] = std::max(kLeastLogGrowth, x[2] - less_growth);
    x.insert(x.begin() + 3, {std::log(ratio), std::log(steps * step)});
    Optimum optimum = maximise(track, layout, std::move(x));
    if (optimum.converged && (!best.converged || optimum.log_likelihood > best.log_likelihood)) {
      best = std::move(optimum);
    }
  }
  return best;
}

ChosenModel choose_model(std::span<const PlacedSample> readings,
                         std::span<const Segment> segments,
                         const SearchStart& start) {
  return Search(readings, segments, start).run();
}

}  // namespace nightswing::analysis
