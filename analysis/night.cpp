#include "analysis/night.h"

#include <algorithm>
#include <cmath>
#include <span>

#include <fmt/format.h>

#include "analysis/gravity_budget.h"
#include "analysis/input_error.h"
#include "analysis/optical_lever.h"
#include "analysis/quantity.h"
#include "analysis/student_t.h"
#include "analysis/wide_swing.h"

namespace nightswing::analysis {
namespace {

constexpr std::size_t kLeastSamples = 30;
constexpr std::ptrdiff_t kLeastInSegment = 8;
constexpr double kLeastOfPeriod = 0.1;
constexpr double kShiftSigmas = 4.0;
constexpr double kJustAfter_s = 1e-6;  // segments end before their to_s
constexpr double kMillimetre_m = 1e-3;

OpticalLever lever_over(const Apparatus& apparatus, const std::vector<SwingSample>& series) {
  // A foot that was not measured is taken in the middle of the travel, where its error matters
  // least.
  const auto [low, high] = std::ranges::minmax(series, {}, &SwingSample::x_mm);
  return {.mirror_to_wall_m = apparatus.mirror_to_wall_m.value,
          .foot_mm = apparatus.foot_mm ? apparatus.foot_mm->value : 0.5 * (low.x_mm + high.x_mm),
          .scale_factor = apparatus.scale_factor.value};
}

void choose_sides(const Night& night,
                  const std::vector<SwingSample>& series,
                  const SwingStart& start,
                  NightResult& result) {
  if (!night.sides.empty()) {
    result.sides = night.sides;
    result.sides_from = "sides as marked";
    return;
  }
  FoundSides found = find_sides(series, start);
  if (found.changes.size() > 1) {
    // Once more with the period and damping of a joint fit, which the moves do not blur.
    const auto segments = segments_between(found.changes, series.back().t_s + 1.0, 0.0);
    const SwingFit fit = fit_swing(series, segments, start);
    if (fit.status != FitStatus::kNotConverged) {
      found = find_sides(series,
                         {.period_s = fit.period_s.value,
                          .damping_per_s = std::max(0.0, fit.damping_per_s.value),
                          .explained = start.explained,
                          .residual_mm = fit.residual_rms_mm});
    }
  }
  result.sides = found.changes;
  result.disturbances_s = found.disturbances_s;
  result.sides_from = found.message;
}

/// A knock ends one segment and begins another on the same side.
std::vector<SideChange> with_disturbances(const NightResult& result) {
  std::vector<SideChange> changes = result.sides;
  for (const double t_s : result.disturbances_s) {
    const auto after = std::ranges::upper_bound(changes, t_s, {}, &SideChange::t_s);
    if (after == changes.begin()) continue;
    changes.insert(after, {std::prev(after)->side, t_s});
  }
  return changes;
}

/// Cuts the segments to what was watched of them, so that a side that was marked hours before the
/// first frame does not count as watched for hours, and leaves out what was hardly watched.
std::vector<Segment> watched_part(const std::vector<Segment>& segments,
                                  const std::vector<SwingSample>& series,
                                  double period_s,
                                  NightResult& result) {
  std::vector<Segment> watched;
  for (const SideChange& change : result.sides) {
    if (change.t_s <= series.back().t_s) continue;
    result.warnings.push_back(fmt::format(
        "side {} at {:.0f} s was marked after the last position of the track ({:.0f} s)",
        name_of(change.side),
        change.t_s,
        series.back().t_s));
  }
  for (const Segment& segment : segments) {
    const auto first = std::ranges::lower_bound(series, segment.from_s, {}, &SwingSample::t_s);
    const auto end = std::ranges::lower_bound(series, segment.to_s, {}, &SwingSample::t_s);
    if (end - first < kLeastInSegment) {
      result.warnings.push_back(
          fmt::format("side {} from {:.0f} s to {:.0f} s holds {} measured positions and was left "
                      "out; check when it was marked",
                      name_of(segment.side),
                      segment.from_s,
                      segment.to_s,
                      end - first));
      continue;
    }
    const Segment seen{segment.side,
                       std::max(segment.from_s, first->t_s),
                       std::min(segment.to_s, std::prev(end)->t_s + kJustAfter_s)};
    if (seen.to_s - seen.from_s < kLeastOfPeriod * period_s) {
      result.warnings.push_back(fmt::format(
          "side {} from {:.0f} s to {:.0f} s was watched for less than a tenth of a period "
          "and was left out",
          name_of(seen.side),
          seen.from_s,
          seen.to_s));
      continue;
    }
    watched.push_back(seen);
  }
  return watched;
}

void check_sides(const std::vector<Segment>& segments, const NightResult& result) {
  const auto has = [&](Side side) {
    return std::ranges::any_of(segments, [&](const Segment& s) { return s.side == side; });
  };
  if (has(Side::kPlus) && has(Side::kMinus)) return;
  std::string what = "no segment with the sources near the boom";
  if (has(Side::kPlus) || has(Side::kMinus)) {
    const Side side = has(Side::kPlus) ? Side::kPlus : Side::kMinus;
    what = fmt::format("one side only ({} from {:.0f} s to {:.0f} s)",
                       name_of(side),
                       segments.front().from_s,
                       segments.back().to_s);
  }
  if (!result.warnings.empty()) what += fmt::format(" ({})", fmt::join(result.warnings, "; "));
  throw InputError(fmt::format(
      "the night has {}; G needs plus and minus: name each move with 'nightswing mark RUN minus "
      "--at "
      "2h5m' or --side minus@2h5m, or give no sides at all to have them found from the track",
      what));
}

/// The equilibria as readings of the scale, from the straightened ones of the fit.
void report_equilibria(const OpticalLever& lever, const Apparatus& apparatus, NightResult& result) {
  const auto reading = [&](const Measured& straight_mm) {
    const double x_mm = x_mm_from_straightened(lever, straight_mm.value);
    const double step = x_mm_from_straightened(lever, straight_mm.value + 1.0) - x_mm;
    return Measured{x_mm, std::abs(step) * straight_mm.u};
  };
  for (const SegmentSwing& s : result.fit.segments) {
    const Measured equilibrium_mm = reading(s.equilibrium_mm);
    const double later_mm =
        reading({s.equilibrium_mm.value + s.drift_mm_per_hour, s.equilibrium_mm.u}).value;
    const Measured& level = s.segment.side == Side::kPlus    ? result.fit.plus_mm
                            : s.segment.side == Side::kMinus ? result.fit.minus_mm
                                                             : *result.fit.away_mm;
    result.segments.push_back({.segment = s.segment,
                               .equilibrium_mm = equilibrium_mm,
                               .without_drift_mm = reading(level).value,
                               .drift_mm_per_hour = later_mm - equilibrium_mm.value,
                               .amplitude_from_mm = s.amplitude_from_mm,
                               .amplitude_to_mm = s.amplitude_to_mm,
                               .periods = s.periods,
                               .used = s.used});
  }
  const double shift_mm = reading(result.fit.plus_mm).value - reading(result.fit.minus_mm).value;
  result.shift_mm = {apparatus.scale_factor.value * shift_mm,
                     apparatus.scale_factor.value * result.fit.shift_mm.u};
  if (result.fit.shift_mm.value == 0.0) return;
  const double to_wall = result.shift_mm.value / result.fit.shift_mm.value;
  const Measured& plain = result.fit.least_squares_shift_mm;
  result.least_squares_shift_mm = {to_wall * plain.value, std::abs(to_wall) * plain.u};
}

NightFindings findings_of(const OpticalLever& lever, const SwingFit& fit) {
  return {.x_plus_mm = x_mm_from_straightened(lever, fit.plus_mm.value),
          .x_minus_mm = x_mm_from_straightened(lever, fit.minus_mm.value),
          .period_s = fit.period_s.value,
          .damping_per_s = fit.damping_per_s.value,
          .period_measured = PeriodMeasured::kBesideSources};
}

void compute_gravity(const Night& night,
                     const Apparatus& apparatus,
                     const OpticalLever& lever,
                     const NightOptions& options,
                     NightResult& result) {
  const NightFindings findings = findings_of(lever, result.fit);
  result.gravity = gravity(apparatus, findings);
  if (result.gravity->status != GravityStatus::kComputed) {
    result.status = NightStatus::kMassesTouch;
    result.message = result.gravity->message;
    result.gravity.reset();
    return;
  }
  const WallDoubt wall =
      night.wall_doubt ? night.wall_doubt(findings.x_minus_mm, findings.x_plus_mm) : WallDoubt{};
  const GravityInputs inputs =
      gravity_inputs(apparatus,
                     findings,
                     {.covariance = result.fit.covariance,
                      .wall = wall,
                      .degrees_of_freedom = std::max(1.0, result.fit.degrees_of_freedom)});
  result.budget = propagate(inputs.inputs, inputs.gravitational_constant, inputs.correlation);
  const double k95 = coverage_factor(0.95, result.budget->effective_degrees_of_freedom);
  result.interval_95 = {result.budget->value - k95 * result.budget->u,
                        result.budget->value + k95 * result.budget->u};
  if (options.monte_carlo_trials > 0) {
    result.monte_carlo = gravity_monte_carlo(
        inputs,
        {.least_trials = options.monte_carlo_trials,
         .most_trials = std::max<std::size_t>(2000000, options.monte_carlo_trials)});
  }
  result.status = NightStatus::kMeasured;
  result.message = "measured";
  const double scale_relative = apparatus.scale_factor.u / apparatus.scale_factor.value;
  const double common = std::hypot(wall.relative_u(), scale_relative);
  result.shift_mm.u = std::hypot(result.shift_mm.u, common * result.shift_mm.value);
  const double lever_relative = apparatus.mirror_to_wall_m.u / apparatus.mirror_to_wall_m.value;
  const double theta_rad = result.gravity->theta_rad;
  const double shift_relative = result.shift_mm.u / std::abs(result.shift_mm.value);
  result.deflection_rad = {theta_rad, theta_rad * std::hypot(shift_relative, lever_relative)};
}

bool shift_is_clear(const SwingFit& fit) {
  return std::abs(fit.shift_mm.value) >= kShiftSigmas * fit.shift_mm.u;
}

/// Takes off the positions what the uneven pull does to a wide swing, and fits again. What it does
/// follows from the first fit well enough: it is some 1e-4 of the swing.
void refit_without_wide_swing(const Apparatus& apparatus,
                              const OpticalLever& lever,
                              const std::vector<Segment>& segments,
                              const SwingStart& start,
                              std::vector<SwingSample>& series,
                              NightResult& result) {
  if (result.fit.status != FitStatus::kConverged || !shift_is_clear(result.fit)) return;
  const GravityResult first = gravity(apparatus, findings_of(lever, result.fit));
  if (first.status != GravityStatus::kComputed) return;
  const double mm_per_rad = 2e3 * lever.mirror_to_wall_m / lever.scale_factor;
  const double sign = result.fit.shift_mm.value > 0.0 ? 1.0 : -1.0;  // of x towards plus
  for (const Segment& segment : segments) {
    if (segment.side == Side::kAway) continue;
    const PullCurvature per_rad = pull_curvature(apparatus, segment.side, first);
    const auto from = std::ranges::lower_bound(series, segment.from_s, {}, &SwingSample::t_s);
    const auto to = std::ranges::lower_bound(series, segment.to_s, {}, &SwingSample::t_s);
    const std::span<SwingSample> part(from, to);
    const auto departures_mm = wide_swing_mm(part,
                                             result.fit.period_s.value,
                                             result.fit.damping_per_s.value,
                                             {.quadratic = sign * per_rad.quadratic / mm_per_rad,
                                              .cubic = per_rad.cubic / (mm_per_rad * mm_per_rad)});
    for (std::size_t i = 0; i < part.size(); ++i) {
      part[i].x_mm -= departures_mm[i];
      result.wide_swing_mm = std::max(result.wide_swing_mm, std::abs(departures_mm[i]));
    }
  }
  const double before_mm = result.fit.shift_mm.value;
  result.fit = fit_swing(series, segments, start);
  result.wide_swing_shift_mm = result.fit.shift_mm.value - before_mm;
}

}  // namespace

std::string_view name_of(NightStatus status) {
  switch (status) {
    case NightStatus::kMeasured:
      return "measured";
    case NightStatus::kNoShift:
      return "no shift found";
    case NightStatus::kNoSwing:
      return "no swing found";
    case NightStatus::kTooShort:
      return "too short";
    case NightStatus::kNotFitted:
      return "not fitted";
    case NightStatus::kMassesTouch:
      return "masses would touch";
  }
  return "";
}

std::vector<Segment> segments_between(const std::vector<SideChange>& sides,
                                      double end_s,
                                      double settle_s) {
  std::vector<Segment> segments;
  for (std::size_t k = 0; k < sides.size(); ++k) {
    const double to_s = k + 1 < sides.size() ? sides[k + 1].t_s : end_s;
    const double from_s = sides[k].t_s + settle_s;
    if (from_s < to_s) segments.push_back({sides[k].side, from_s, to_s});
  }
  return segments;
}

NightResult analyse_night(const Night& night,
                          const Apparatus& apparatus,
                          const NightOptions& options) {
  if (night.samples.size() < kLeastSamples) {
    throw InputError(
        fmt::format("the track holds {} measured positions; at least {} are needed, and one to two "
                    "periods of the "
                    "swing on each side",
                    night.samples.size(),
                    kLeastSamples));
  }
  NightResult result;
  result.path = fit_path(night.samples);
  std::vector<SwingSample> series = along_path(result.path, night.samples);
  const OpticalLever lever = lever_over(apparatus, series);
  for (SwingSample& sample : series) sample.x_mm = straightened_mm(lever, sample.x_mm);

  const auto start = scan_period(series);
  if (!start) {
    result.status = NightStatus::kNoSwing;
    result.message =
        "the spot does not swing with any one period, so that there is none to compute G from; set "
        "the boom swinging by some millimetres and watch again";
    return result;
  }
  choose_sides(night, series, *start, result);
  if (night.sides.empty() && result.sides.size() < 2) {
    result.status = NightStatus::kNoShift;
    result.message = fmt::format(
        "{}; if they were moved, name the moments with --side plus@0s --side minus@2h5m",
        result.sides_from);
    return result;
  }
  // What the track says of a move is uncertain by itself: that much is cut off too.
  const double end_s = series.back().t_s + kJustAfter_s;
  const auto segments =
      watched_part(segments_between(with_disturbances(result), end_s, options.settle_s),
                   series,
                   start->period_s,
                   result);
  check_sides(segments, result);
  result.fit = fit_swing(series, segments, *start);
  refit_without_wide_swing(apparatus, lever, segments, *start, series, result);
  if (result.fit.status == FitStatus::kNotConverged) {
    result.message = result.fit.message;
    return result;
  }
  report_equilibria(lever, apparatus, result);
  if (result.fit.status == FitStatus::kNoSwing) {
    result.status = NightStatus::kNoSwing;
    result.message = result.fit.message;
  } else if (result.fit.status == FitStatus::kTooShort) {
    result.status = NightStatus::kTooShort;
    result.message = result.fit.message;
  } else if (!shift_is_clear(result.fit)) {
    result.status = NightStatus::kNoShift;
    result.message = fmt::format(
        "the equilibria of the two sides differ by {}, which is less than {:.0f} standard "
        "uncertainties: no G can be had from this night",
        format_quantity(result.fit.shift_mm, "mm"),
        kShiftSigmas);
  } else {
    compute_gravity(night, apparatus, lever, options, result);
    if (result.gravity) {
      result.consistency = second_opinions(
          apparatus, lever, findings_of(lever, result.fit), result.fit, series, *start);
    }
  }
  return result;
}

}  // namespace nightswing::analysis
