#include "analysis/night/night.h"

#include <algorithm>
#include <cmath>
#include <span>

#include <fmt/format.h>

#include "analysis/apparatus/source_places.h"
#include "analysis/balance/gravity_budget.h"
#include "analysis/balance/wire_stiffness.h"
#include "analysis/night/night_segments.h"
#include "analysis/night/side_frequencies.h"
#include "analysis/night/wide_swing.h"
#include "analysis/positions/optical_lever.h"
#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"
#include "analysis/quantities/student_t.h"

namespace nightswing::analysis {
namespace {

constexpr std::size_t kLeastSamples = 30;
constexpr double kMillimetre_m = 1e-3;
/// A side that pulls so much more than the other, of their mean, is told: half a millimetre of
/// separation at usual sizes. G feels it by its square.
constexpr double kUnevenShare = 0.01;
constexpr const char* kWhichIsPlus =
    "the sides were found from the track, which cannot tell plus from minus; here, where the "
    "source "
    "masses stand differently on each side, that changes G: name a side (--side plus@0s --side "
    "minus@2h5m)";
/// What u(G) feels: so large a part of it, added in squares, makes it an eighth larger.
constexpr double kFeltShare = 0.5;
constexpr const char* kWaysDiffer =
    "G by other ways differs by {:.2g} %, more than the night's noise explains: something besides "
    "the sources moved the spot, or the apparatus is not as its file says; look for a step in the "
    "residuals, such as a knock leaves, and take this uncertainty of G for too small";

OpticalLever lever_over(const Apparatus& apparatus, const std::vector<SwingSample>& series) {
  // A foot that was not measured is taken in the middle of the travel, where its error matters
  // least.
  const auto [low, high] = std::ranges::minmax(series, {}, &SwingSample::x_mm);
  return optical_lever(apparatus, 0.5 * (low.x_mm + high.x_mm));
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

/// Fits again with the sides' own frequencies, if they are no mirror images. How far apart those
/// are follows from the first fit well enough; that it goes with G itself to first order is seen to
/// by the fit that comes after this one.
void refit_with_own_frequencies(const Apparatus& apparatus,
                                const OpticalLever& lever,
                                const std::vector<SwingSample>& series,
                                const SwingStart& start,
                                std::vector<Segment>& segments,
                                NightResult& result) {
  if (!apparatus.sides) return;
  const auto first = gravity_so_far(apparatus, findings_of(lever, result.fit), result.fit);
  if (!first) return;
  set_frequency_ratios(first->frequency_ratios, segments);
  result.fit = fit_swing(series, segments, start);
}

/// Takes off the positions what the uneven pull does to a wide swing, and fits again. What it does
/// follows from the first fit well enough: it is some 1e-4 of the swing. Returns it, by segments.
std::vector<WideSwing> refit_without_wide_swing(const Apparatus& apparatus,
                                                const OpticalLever& lever,
                                                const SwingStart& start,
                                                std::vector<Segment>& segments,
                                                std::vector<SwingSample>& series,
                                                NightResult& result) {
  const auto first = gravity_so_far(apparatus, findings_of(lever, result.fit), result.fit);
  if (!first) return {};
  std::vector<WideSwing> taken_off(segments.size());
  set_frequency_ratios(first->frequency_ratios, segments);
  const double mm_per_rad = straightened_mm_per_rad(lever);
  const double sign = result.fit.shift_mm.value > 0.0 ? 1.0 : -1.0;  // of x towards plus
  for (std::size_t k = 0; k < segments.size(); ++k) {
    const Segment& segment = segments[k];
    if (!has_places(apparatus, segment.side)) continue;
    const PullCurvature per_rad = pull_curvature(apparatus, segment.side, *first);
    const auto from = std::ranges::lower_bound(series, segment.from_s, {}, &SwingSample::t_s);
    const auto to = std::ranges::lower_bound(series, segment.to_s, {}, &SwingSample::t_s);
    const std::span<SwingSample> part(from, to);
    const Measured& period_s =
        segment.side == Side::kAway ? *result.fit.away_period_s : result.fit.period_s;
    taken_off[k] = WideSwing(part,
                             period_s.value / segment.frequency_ratio,
                             result.fit.damping_per_s.value,
                             {.quadratic = sign * per_rad.quadratic / mm_per_rad,
                              .cubic = per_rad.cubic / (mm_per_rad * mm_per_rad)});
    for (SwingSample& sample : part) {
      const double departure_mm = taken_off[k].departure_mm(sample.t_s);
      sample.x_mm -= departure_mm;
      result.wide_swing_mm = std::max(result.wide_swing_mm, std::abs(departure_mm));
    }
  }
  const double before_mm = result.fit.shift_mm.value;
  result.fit = fit_swing(series, segments, start);
  result.wide_swing_shift_mm = result.fit.shift_mm.value - before_mm;
  return taken_off;
}

/// Where the boom rests with the sources away, held by the wire but for what they still pull, tells
/// whether both sides pull as the apparatus says.
void check_symmetry(const Apparatus& apparatus, const OpticalLever& lever, NightResult& result) {
  const auto& found_mm = result.fit.away_from_midway_mm;
  if (!found_mm || !result.gravity) return;
  const double mm_per_rad = straightened_mm_per_rad(lever);
  const double expected_mm = result.gravity->away_rest_rad * mm_per_rad;
  const double off_mm = found_mm->value - expected_mm;
  const double half_shift_mm = 0.5 * std::abs(result.fit.shift_mm.value);
  if (std::abs(off_mm) < std::max(kShiftSigmas * found_mm->u, kUnevenShare * half_shift_mm)) return;
  // The pull goes with the inverse square of the separation: a side nearer by d pulls more by 2
  // d/b.
  const double nearer_m = mean_separation_m(apparatus) * std::abs(off_mm) / half_shift_mm;
  result.warnings.push_back(fmt::format(
      "with the sources away the spot rests {} from midway between the sides, towards plus, where "
      "{:.2f} mm is expected of this arrangement: either the rest place has drifted, or the "
      "sources "
      "stand nearer to the boom on side {}, by about {:.2g} mm; measure both sides, and give the "
      "places one by one (sides: in the apparatus file)",
      format_quantity(*found_mm, "mm"),
      expected_mm + 0.0,
      off_mm > 0.0 ? "minus" : "plus",
      1e3 * nearer_m));
}

/// Ways that differ by less than u(G) feels may: the coding of a film alone makes them differ.
void warn_of_ways(NightResult& result) {
  const Consistency& ways = result.consistency;
  const double relative_u = result.budget->u / result.budget->value;
  if (ways.consistent || ways.apart_relative < kFeltShare * relative_u) return;
  result.warnings.push_back(fmt::format(kWaysDiffer, 100.0 * ways.apart_relative));
}

std::string no_swing_message(const Night& night) {
  std::string message =
      "the spot does not swing with any one period, so that there is none to compute G from; set "
      "the boom swinging by some millimetres and watch again, with four pictures a period or more";
  if (!night.sides.empty()) return message;
  return message +
         "; in a short night the moves of the sources hide the swing unless they are named, with "
         "--side plus@0s --side minus@2h5m or 'nightswing mark'";
}

/// What the fit alone lets the night be called; why in `message`, if it is not measured.
NightStatus status_by_shift(NightResult& result) {
  result.message = result.fit.message;
  if (result.fit.status == FitStatus::kNoSwing) return NightStatus::kNoSwing;
  if (result.fit.status == FitStatus::kTooShort) return NightStatus::kTooShort;
  if (shift_is_clear(result.fit.shift_mm)) return NightStatus::kMeasured;
  result.message = fmt::format(
      "the equilibria of the two sides differ by {}, which is less than {:.0f} standard "
      "uncertainties: no G can be had from this night{}",
      format_quantity(result.fit.shift_mm, "mm"),
      kShiftSigmas,
      result.marks_doubted ? " with the sides as marked; the warnings say what the track shows"
                           : "");
  return NightStatus::kNoShift;
}

}  // namespace

bool shift_is_clear(const Measured& shift_mm) {
  return std::abs(shift_mm.value) >= kShiftSigmas * shift_mm.u;
}

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

  const auto start = scan_period(series, night.sides);
  if (!start) {
    result.status = NightStatus::kNoSwing;
    result.message = no_swing_message(night);
    return result;
  }
  choose_sides(night.sides, series, *start, options.settle_s, result);
  if (night.sides.empty() && result.sides.size() < 2) {
    result.status = NightStatus::kNoShift;
    result.message = fmt::format(
        "{}; if they were moved, name the moments with --side plus@0s --side minus@2h5m",
        result.sides_from);
    return result;
  }
  auto segments = watched_segments(night.sides, series, start->period_s, options.settle_s, result);
  result.fit = fit_swing(series, segments, *start);
  if (night.sides.empty() && time_found_moves(series, result)) {
    result.warnings.clear();  // of the first segments
    segments = watched_segments(night.sides, series, start->period_s, options.settle_s, result);
    result.fit = fit_swing(series, segments, *start);
  }
  if (night.sides.empty() && apparatus.sides) result.warnings.emplace_back(kWhichIsPlus);
  refit_with_own_frequencies(apparatus, lever, series, *start, segments, result);
  const auto taken_off =
      refit_without_wide_swing(apparatus, lever, *start, segments, series, result);
  if (result.fit.status == FitStatus::kNotConverged) {
    result.message = result.fit.message;
    return result;
  }
  report_equilibria(lever, apparatus, result);
  result.status = status_by_shift(result);
  if (result.status != NightStatus::kMeasured) return result;
  compute_gravity(night, apparatus, lever, options, result);
  if (!result.gravity) return result;
  check_symmetry(apparatus, lever, result);
  const auto doubt =
      wire_doubt(apparatus, result.gravity->kappa_n_m, boom_inertia(apparatus).total_kg_m2());
  if (doubt) result.warnings.push_back(*doubt);
  result.moves = single_moves(series, result.fit, taken_off);
  result.consistency = second_opinions(
      apparatus, lever, findings_of(lever, result.fit), result.fit, series, *start, result.moves);
  warn_of_ways(result);
  return result;
}

}  // namespace nightswing::analysis
