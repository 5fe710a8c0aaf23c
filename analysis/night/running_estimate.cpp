#include "analysis/night/running_estimate.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/night/night_segments.h"
#include "analysis/night/side_frequencies.h"

namespace nightswing::analysis {
namespace {

constexpr double kSurpriseSigmas = 5.0;
constexpr std::size_t kLeastPositions = 30;
constexpr double kFirstRefit_s = 60.0;
constexpr double kNightGrowth = 0.05;
constexpr double kSegmentGrowth = 0.2;
constexpr double kLeastOfPeriod = 0.25;      // from fit to fit
constexpr double kScanAgainPeriods = 6.0;    // until then a first guess of the period may be wrong
constexpr double kReadingsPerPeriod = 30.0;  // of a forecast
constexpr double kForecastEvery_s = 60.0;
constexpr double kMostForecast_s = 86400.0;
constexpr double kUsualMemory = 0.02;  // weight of the newest in running means
/// What frequencies may be off by without a further fit: a hundredth of a turn in a hundred
/// periods.
constexpr double kSameFrequency = 1e-4;

}  // namespace

void RunningEstimate::add(const SwingSample& sample) {
  if (history_.empty() && pending_.empty()) {
    first_s_ = segment_from_s_ = sample.t_s;
    usual_u_mm_ = sample.u_mm;
    next_refit_s_ = sample.t_s + kFirstRefit_s;
  } else if (const double step_s = sample.t_s - result_.at_s; step_s < 10.0 * usual_step_s_) {
    usual_step_s_ += kUsualMemory * (step_s - usual_step_s_);
    usual_u_mm_ += kUsualMemory * (sample.u_mm - usual_u_mm_);
  }
  result_.at_s = sample.t_s;
  if (!filter_) {
    history_.add(sample);
    return;
  }
  if (!pending_.empty() &&
      sample.t_s >= pending_.front().sample.t_s + filter_->reading_s() * (1.0 - 1e-6)) {
    close_reading();
  }
  pending_.push_back({sample, filter_->surprise(sample) > kSurpriseSigmas});
}

void RunningEstimate::close_reading() {
  const auto surprising = std::ranges::count(pending_, true, &Pending::surprising);
  const bool single = 2 * surprising <= std::ssize(pending_) && surprising > 0;
  if (single) {
    std::erase_if(pending_, [](const Pending& p) { return p.surprising; });
    result_.left_out += surprising;
  } else if (surprising > 0) {
    // The swing itself is disturbed, or the readings are few and false: the fit tells them apart.
    const double soon_s = last_refit_s_ + kLeastOfPeriod * result_.period_s->value;
    next_refit_s_ = std::min(next_refit_s_, std::max(soon_s, result_.at_s));
  }
  PositionHistory mean(2, 2.0 * filter_->reading_s());
  for (const Pending& p : pending_) {
    history_.add(p.sample);
    mean.add(p.sample);
  }
  for (const SwingSample& reading : mean.series()) filter_->take(reading);
  pending_.clear();
  const auto levels = filter_->levels();
  if (!levels) return;
  result_.equilibrium_mm = levels->equilibrium_mm;
  if (result_.state == RunningState::kShift) result_.shift_mm = levels->shift_mm;
  if (result_.at_s >= next_forecast_s_) forecast();
}

void RunningEstimate::forecast() {
  next_forecast_s_ = result_.at_s + kForecastEvery_s;
  result_.seconds_to_target.reset();
  if (!filter_ || result_.state != RunningState::kShift) return;
  const double every_s = std::max(usual_step_s_, result_.period_s->value / kReadingsPerPeriod);
  result_.seconds_to_target = filter_->seconds_to(
      options_.target_relative,
      {.every_s = every_s, .u_mm = usual_u_mm_ / std::sqrt(every_s / usual_step_s_)},
      kMostForecast_s);
}

void RunningEstimate::sources_moved(double t_s, Side side) {
  marks_.push_back({side, t_s});
  std::ranges::stable_sort(marks_, {}, &SideChange::t_s);
  result_.side = marks_.back().side;
  result_.sides_found = false;
  segment_from_s_ = std::max(first_s_, marks_.back().t_s);
  for (const Pending& p : pending_) history_.add(p.sample);
  pending_.clear();
  filter_.reset();  // it knows no such segment
  result_.equilibrium_mm.reset();
  result_.seconds_to_target.reset();
  if (result_.state == RunningState::kTooFew) return;  // nothing was fitted yet: as soon as it can
  const double patience_s =
      result_.period_s ? kLeastOfPeriod * result_.period_s->value : kFirstRefit_s;
  next_refit_s_ = std::max(result_.at_s, t_s + options_.settle_s + patience_s);
}

bool RunningEstimate::refit_is_due() const {
  return !history_.empty() && result_.at_s >= next_refit_s_;
}

void RunningEstimate::plan_refit() {
  const double now_s = result_.at_s;
  last_refit_s_ = now_s;
  const double night_s = kNightGrowth * (now_s - first_s_);
  const double wait_s =
      result_.period_s ? std::max(kLeastOfPeriod * result_.period_s->value,
                                  std::min(night_s, kSegmentGrowth * (now_s - segment_from_s_)))
                       : std::max(kFirstRefit_s, night_s);
  next_refit_s_ = now_s + wait_s;
}

std::optional<SwingStart> RunningEstimate::start_for(const std::vector<SwingSample>& series) const {
  const bool sure =
      last_start_ && result_.at_s - first_s_ > kScanAgainPeriods * last_start_->period_s;
  return sure ? last_start_ : scan_period(series, marks_);
}

void RunningEstimate::refit() {
  for (const Pending& p : pending_) history_.add(p.sample);
  pending_.clear();
  filter_.reset();
  const std::vector<SwingSample> series = history_.series();
  RunningResult next{
      .at_s = result_.at_s, .side = result_.side, .sides_found = result_.sides_found};
  std::swap(result_, next);
  if (series.size() >= kLeastPositions) {
    const auto start = start_for(series);
    result_.state = RunningState::kNoSwing;
    if (start) fit_segments(series, *start);
  }
  plan_refit();
  forecast();
}

void RunningEstimate::fit_segments(const std::vector<SwingSample>& series,
                                   const SwingStart& start) {
  NightResult found;
  choose_sides(marks_, series, start, options_.settle_s, found);
  auto segments = segments_so_far(marks_, series, start.period_s, options_.settle_s, found);
  result_.warnings = found.warnings;
  if (marks_.empty() && !found.sides.empty()) {
    result_.sides_found = found.sides.size() > 1;
    result_.side.reset();
    if (result_.sides_found) result_.side = found.sides.back().side;
    segment_from_s_ = std::max(first_s_, found.sides.back().t_s);
  }
  result_.state = RunningState::kTooShort;
  if (segments.empty()) return;
  set_frequency_ratios(ratios_, segments);
  SwingFit fit = fit_swing(series, segments, start);
  if (frequencies_changed(fit)) {
    set_frequency_ratios(ratios_, segments);
    fit = fit_swing(series, segments, start);
  }
  if (fit.status == FitStatus::kNotConverged) {
    const bool long_enough = std::ranges::any_of(
        segments, [&](const Segment& s) { return s.to_s - s.from_s >= start.period_s; });
    if (long_enough) result_.warnings.push_back(fit.message);  // else that is all there is to say
    return;
  }
  if (fit.status == FitStatus::kNoSwing) {
    result_.state = RunningState::kNoSwing;
    return;
  }
  take_over(std::move(fit));
}

/// Takes the sides' own frequencies from a fit. Which side is which must have been marked.
bool RunningEstimate::frequencies_changed(const SwingFit& fit) {
  if (!options_.apparatus || !options_.apparatus->sides || marks_.empty()) return false;
  const NightFindings findings{.x_plus_mm = fit.plus_mm.value,
                               .x_minus_mm = fit.minus_mm.value,
                               .period_s = fit.period_s.value,
                               .damping_per_s = fit.damping_per_s.value};
  const auto found = gravity_so_far(*options_.apparatus, findings, fit);
  if (!found) return false;
  const FrequencyRatios before = std::exchange(ratios_, found->frequency_ratios);
  return std::abs(ratios_.plus - before.plus) > kSameFrequency ||
         std::abs(ratios_.minus - before.minus) > kSameFrequency;
}

void RunningEstimate::take_over(SwingFit fit) {
  const bool whole_period =
      std::ranges::any_of(fit.segments, [](const SegmentSwing& s) { return s.periods >= 1.0; });
  if (!whole_period) return;
  result_.period_s = fit.period_s;
  last_start_ = {.period_s = fit.period_s.value,
                 .damping_per_s = std::max(0.0, fit.damping_per_s.value),
                 .explained = 1.0,
                 .residual_mm = fit.residual_rms_mm};
  const bool present = fit.segments.back().segment.to_s >= result_.at_s - history_.cell_s();
  result_.state = fit.status == FitStatus::kConverged && fit.has_both_sides
                      ? RunningState::kShift
                      : RunningState::kOneSide;
  if (result_.state == RunningState::kShift) result_.shift_mm = fit.shift_mm;
  // The last segment may be too short yet to be in the fit: then there is nothing to go on with.
  if (!present) return;
  result_.equilibrium_mm = fit.segments.back().equilibrium_mm;
  filter_ = RunningFilter::after(fit);
}

RunningResult RunningEstimate::result() const {
  return result_;
}

}  // namespace nightswing::analysis
