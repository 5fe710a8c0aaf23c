#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "analysis/balance/unmodelled_effects.h"
#include "analysis/quantities/quantity.h"
#include "analysis/quantities/uncertainty_budget.h"
#include "tracker/result/comparison.h"
#include "tracker/result/result_file.h"
#include "tracker/run/csv_text.h"
#include "tracker/text/pace_text.h"
#include "tracker/text/text_lines.h"
#include "tracker/version.h"

namespace nightswing::tracker {
namespace {

using analysis::format_quantity;

/// Inputs below this share of the squared uncertainty are only named: result.json has them all.
constexpr double kShareToPrint = 5e-4;

std::string when_text(const RunInfo& info, double t_s) {
  std::string text = duration_text(t_s);
  if (const auto utc = utc_at(info, t_s)) text += fmt::format(" ({})", iso_text(*utc));
  return text;
}

/// Pairs of segments from three on share their lines, so that the page stays one.
std::string opinions_part(const analysis::Consistency& consistency) {
  const auto is_pair = [](const analysis::Opinion& o) { return o.method.starts_with("segments "); };
  const bool many = std::ranges::count_if(consistency.opinions, is_pair) > 2;
  std::string text;
  std::string pairs;
  for (const analysis::Opinion& opinion : consistency.opinions) {
    const std::string g = format_quantity(opinion.g_m3_kg_s2, "");
    if (many && is_pair(opinion)) {
      pairs += (pairs.empty() ? "neighbouring segments alone: " : ", ") + g;
    } else {
      text += fmt::format("    {:34} {}\n", opinion.method, g);
    }
  }
  if (!pairs.empty()) text += in_lines(pairs, "    ");
  if (text.empty()) return text;
  return "G by other ways (u of the night alone)\n" + text +
         in_lines(consistency.statement, "    ");
}

std::string interval_part(const analysis::NightResult& result) {
  const analysis::MonteCarloResult& drawn = result.monte_carlo->result;
  const double freedom = result.budget->effective_degrees_of_freedom;
  return fmt::format(
      "95 % interval: {:.4g} to {:.4g} (effective degrees of freedom {})\n"
      "    by {} draws of all inputs: {:.4g} to {:.4g}, shortest {:.4g} to {:.4g}{}\n",
      result.interval_95.low,
      result.interval_95.high,
      freedom > 1e4 ? "so many that k = 1.96" : fmt::format("{:.0f}", freedom),
      drawn.trials,
      drawn.symmetric.low,
      drawn.symmetric.high,
      drawn.shortest.low,
      drawn.shortest.high,
      drawn.converged ? "" : "; not converged to two digits of u");
}

std::string gravity_part(const analysis::NightResult& result) {
  const double g = result.gravity->g_m3_kg_s2;
  const double u = result.budget->u;
  std::string text = fmt::format("G = {}   ({:.2f} %, standard uncertainty, k = 1)\n",
                                 format_quantity({g, u}, kUnitOfG),
                                 100.0 * u / g);
  text += result.blinded
              ? in_lines("BLIND: every G here carries the same hidden factor, until analyse --open",
                         "    ")
              : in_lines(compare_with_accepted({g, u}).sentence, "    ");
  if (result.monte_carlo) text += interval_part(result);
  text += fmt::format("textbook formula alone: {:.4g} m3 kg-1 s-2; what corrects it multiplies\n",
                      result.gravity->textbook_m3_kg_s2);
  for (const analysis::Correction& c : result.gravity->corrections) {
    text += fmt::format("    {:+7.3f} %  {}\n", c.percent, c.name);
  }
  text += opinions_part(result.consistency);
  return text;
}

std::string noise_part(const RunInfo& info, const analysis::NightResult& result) {
  const analysis::SwingFit& fit = result.fit;
  std::string noise = fmt::format(
      "one position scatters by {:.3f} mm about the fit; random torque keeps up {:.3f} mm of swing",
      fit.residual_rms_mm,
      fit.noise.torque_mm);
  if (fit.noise.slow != analysis::SlowNoise::kNone) {
    noise += fmt::format("; {:.3f} mm are alike over {:.3g} {}",
                         fit.noise.slow_mm,
                         fit.noise.slow_memory,
                         fit.noise.slow == analysis::SlowNoise::kInTime ? "s" : "mm of the path");
  }
  noise += fmt::format("; u(shift) is {:.1f} times that of independent readings",
                       fit.correlation_widening);
  std::string text = in_lines(noise, "    ");
  text += in_lines(
      fmt::format("drift model: {}; by least squares the shift would be {}, but for the scale",
                  fit.drift_name,
                  format_quantity(result.least_squares_shift_mm, "mm")),
      "    ");
  std::string kicks;
  for (const analysis::Kick& kick : fit.kicks) {
    kicks += fmt::format("{}{} (its speed changed by {:.2g} mm/s)",
                         kicks.empty() ? "the swing was kicked at " : ", ",
                         when_text(info, kick.t_s),
                         kick.change_mm_per_s);
  }
  if (!kicks.empty()) text += in_lines(kicks, "    ");
  if (result.gravity && result.gravity->frequency_ratios.plus != 1.0) {
    const double period_s = fit.period_s.value;
    const analysis::FrequencyRatios& ratios = result.gravity->frequency_ratios;
    text += fmt::format(
        "    period on side plus {:.2f} s, on side minus {:.2f} s, by the places of the "
        "sources\n",
        period_s / ratios.plus,
        period_s / ratios.minus);
  }
  if (fit.away_mm && fit.away_period_s) {
    text += fmt::format("    sources away: period {}", format_quantity(*fit.away_period_s, "s"));
    if (fit.away_from_midway_mm) {
      text += fmt::format(", rest place {} from midway towards plus",
                          format_quantity(*fit.away_from_midway_mm, "mm"));
    }
    text += '\n';
  }
  return text;
}

std::string segment_line(const RunInfo& info, const analysis::SegmentResult& s, bool with_clock) {
  return fmt::format(
      "    {:5}  {}, {:.1f} periods, swing {:.1f} to {:.1f} mm,{}from {} for {}\n",
      name_of(s.segment.side),
      format_quantity(s.equilibrium_mm, "mm"),
      s.periods,
      s.amplitude_from_mm,
      s.amplitude_to_mm,
      with_clock ? "\n           " : " ",
      with_clock ? when_text(info, s.segment.from_s) : duration_text(s.segment.from_s),
      duration_text(s.segment.to_s - s.segment.from_s));
}

/// What a rate of damping means, where it is one for certain.
std::string decay_text(const analysis::SwingFit& fit) {
  const analysis::Measured& damping = fit.damping_per_s;
  if (!(damping.value > 2.0 * damping.u)) return {};
  return fmt::format(", the swing falls to 1/e in {} (Q = {:.0f})",
                     duration_text(1.0 / damping.value),
                     std::numbers::pi / (damping.value * fit.period_s.value));
}

std::string swing_part(const RunInfo& info, const analysis::NightResult& result) {
  std::string text =
      fmt::format("period      {}{}\ndamping     {}{}\nshift       {}\ndrift       {}\n",
                  format_quantity(result.fit.period_s, "s"),
                  result.gravity ? ", damped and beside the sources" : "",
                  format_quantity(result.fit.damping_per_s, "s-1"),
                  decay_text(result.fit),
                  format_quantity(result.shift_mm, "mm"),
                  format_quantity(result.fit.drift_mm_per_hour, "mm/h"));
  if (result.gravity) {
    text += fmt::format("deflection  {} from midway to one side\n",
                        format_quantity(result.deflection_rad, "rad"));
  }
  if (result.wide_swing_mm > 0.0) {
    text += fmt::format(
        "wide swing  put positions off by up to {:.3f} mm; taking that off moved the shift by "
        "{:+.4f} mm\n",
        result.wide_swing_mm,
        result.wide_swing_shift_mm);
  }
  const bool few = result.segments.size() < 3;  // with more of them a line each must do
  text += fmt::format(
      "\nequilibria, as read on the scale mid-segment ({} without the drift between them)\n{}",
      result.budget ? "shift and budget are" : "the shift is",
      in_lines(result.sides_from, ""));
  for (const analysis::SegmentResult& s : result.segments) text += segment_line(info, s, few);
  text += noise_part(info, result);
  for (const double t_s : result.disturbances_s) {
    text += fmt::format("    the swing broke off at {} and went on about the same equilibrium\n",
                        when_text(info, t_s));
  }
  if (!result.fit.left_out_s.empty()) {
    text += fmt::format(
        "    {} position{} left out, more than 5 times the usual off those around (see "
        "result.json)\n",
        result.fit.left_out_s.size(),
        result.fit.left_out_s.size() == 1 ? "" : "s");
  }
  return text;
}

std::string budget_part(const analysis::UncertaintyBudget& budget,
                        const analysis::Apparatus& apparatus) {
  std::string text =
      "uncertainty budget of G (the first row dominates: it is worth measuring better)\n";
  std::vector<analysis::BudgetRow> rows = budget.rows;
  std::ranges::stable_sort(rows, std::ranges::greater{}, &analysis::BudgetRow::share);
  std::string negligible;
  for (const analysis::BudgetRow& row : rows) {
    if (std::abs(row.share) < kShareToPrint) {
      negligible += (negligible.empty() ? "" : "; ") + row.input.name;
      continue;
    }
    text += fmt::format("    {:28} {:>26}   {:6.3f} % of G  {:5.1f} % of u^2\n",
                        row.input.name,
                        format_quantity({row.input.value, row.input.u}, row.input.unit),
                        100.0 * std::abs(row.contribution) / budget.value,
                        100.0 * row.share);
  }
  if (!negligible.empty()) {
    text += in_lines(
        fmt::format("less than {} % of u^2 each: {}", 100.0 * kShareToPrint, negligible), "    ");
  }
  if (const std::string note = correlation_note(budget); !note.empty()) {
    text += in_lines(note, "    ");
  }
  std::string gains;
  for (const analysis::BudgetRow& row : rows_by_gain(budget, 3)) {
    gains += fmt::format(
        "{}{} by {:.1f} %", gains.empty() ? "" : "; ", row.input.name, 100.0 * row.gain);
  }
  if (!gains.empty()) {
    text +=
        in_lines("measured twice as well, each would lower the uncertainty of G: " + gains, "    ");
  }
  const auto effects = analysis::unmodelled_effects(apparatus);
  return text + in_lines(fmt::format("{} effects stand in no row, such as {} ({}): see report.html",
                                     effects.size(),
                                     effects.front().effect,
                                     effects.front().size),
                         "    ");
}

}  // namespace

std::vector<std::string> warnings_of(const ResultSource& source) {
  std::vector<std::string> warnings = source.night.warnings;
  for (const auto* more : {&source.apparatus.warnings, &source.result.warnings}) {
    warnings.insert(warnings.end(), more->begin(), more->end());
  }
  const double factor = source.apparatus.scale_factor.value;
  if (source.night.map.print_relative_u > 0.0 && factor != 1.0) {
    warnings.push_back(fmt::format(
        "the size of the print was corrected by its bar (--bar), and scale.factor multiplies it by "
        "{} once more; if both mean the same, take one of them out",
        number_text(factor)));
  }
  return warnings;
}

std::vector<std::string> assumptions_of(const ResultSource& source) {
  std::vector<std::string> assumptions = source.apparatus.assumptions;
  const std::string& time_from = source.night.info.time_from;
  std::string said;
  if (const auto every_s = frame_every_s(time_from)) {
    said = fmt::format("one frame every {} s", number_text(*every_s));
  } else if (const auto whole = whole_s(time_from)) {
    said = fmt::format("{} s from the first frame to the last", number_text(*whole));
  }
  if (!said.empty()) {
    assumptions.push_back(
        fmt::format("{}, as told, without error (0.1 % too long: G 0.2 % too small)", said));
  }
  if (source.result.budget && !source.result.budget->without_uncertainty.empty()) {
    assumptions.push_back(fmt::format("no uncertainty was given for {}: counted as exact",
                                      fmt::join(source.result.budget->without_uncertainty, ", ")));
  }
  return assumptions;
}

std::string correlation_note(const analysis::UncertaintyBudget& budget) {
  constexpr double kMatters = 0.02;
  if (!(budget.u > 0.0)) return {};
  double squares = 0.0;
  for (const analysis::BudgetRow& row : budget.rows) squares += row.contribution * row.contribution;
  const double independent = std::sqrt(squares);
  if (std::abs(independent / budget.u - 1.0) < kMatters) return {};
  return fmt::format(
      "Some rows are correlated: added in squares they come to {:.3f} %, but u is {:.3f} % of G; "
      "the "
      "share of each row counts that in.",
      100.0 * independent / budget.value,
      100.0 * budget.u / budget.value);
}

std::string result_text(const ResultSource& source) {
  const analysis::NightResult& result = source.result;
  const NightOfRun& night = source.night;
  std::string text = fmt::format("{} - {}\nrun {}, from {}\n{}\n\n",
                                 program_and_version(),
                                 source.apparatus.title,
                                 source.run.path.string(),
                                 night.info.source,
                                 std::string(72, '-'));
  if (result.gravity) {
    text += gravity_part(result);
  } else {
    text += in_lines(fmt::format("no G: {} - {}", name_of(result.status), result.message), "");
  }
  const std::vector<std::string> warnings = warnings_of(source);
  if (!warnings.empty()) text += '\n' + listed("warnings", warnings);  // beside what they may spoil
  text += '\n';
  if (result.fit.status != analysis::FitStatus::kNotConverged)
    text += swing_part(night.info, result);
  if (result.budget) text += '\n' + budget_part(*result.budget, source.apparatus);
  const FrameCounts& frames = night.frames_by_state;
  text += fmt::format(
      "frames: {} measured ({} of them with a saturated core), {} blocked, {} lost, {} dark\n",
      frames.measured(),
      frames.of(SpotState::kClipped),
      frames.of(SpotState::kBlocked),
      frames.of(SpotState::kLost),
      frames.of(SpotState::kDark));
  text += listed("assumed", assumptions_of(source));
  return text;
}

}  // namespace nightswing::tracker
