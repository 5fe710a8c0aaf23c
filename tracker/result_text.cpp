#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "analysis/constants.h"
#include "analysis/quantity.h"
#include "analysis/unmodelled_effects.h"
#include "tracker/result_file.h"
#include "tracker/version.h"

namespace nightswing::tracker {
namespace {

using analysis::format_quantity;
using analysis::Measured;

std::string when_text(const RunInfo& info, double t_s) {
  std::string text = duration_text(t_s);
  if (info.start) text += fmt::format(" ({})", iso_text(after(*info.start, t_s)));
  return text;
}

std::string comparison(double g, double u) {
  const Measured accepted = analysis::kAcceptedG;
  const double ratio = (g - accepted.value) / std::hypot(u, accepted.u);
  return fmt::format(
      "    The accepted value, {} (CODATA 2022), lies {:.2f} standard uncertainties {};\n"
      "    it was not used to get this result.\n",
      format_quantity(accepted, ""),
      std::abs(ratio),
      ratio < 0 ? "above" : "below");
}

std::string opinions_part(const analysis::Consistency& consistency) {
  std::string text;
  for (const analysis::Opinion& opinion : consistency.opinions) {
    text += fmt::format("    {:32} {}\n", opinion.method, format_quantity(opinion.g_m3_kg_s2, ""));
  }
  if (text.empty()) return text;
  return fmt::format(
      "G by other ways (u of the night alone)\n{}    {}\n", text, consistency.statement);
}

std::string gravity_part(const analysis::NightResult& result) {
  const double g = result.gravity->g_m3_kg_s2;
  const double u = result.budget->u;
  std::string text = fmt::format("G = {}   ({:.2f} %, standard uncertainty, k = 1)\n",
                                 format_quantity({g, u}, "m3 kg-1 s-2"),
                                 100.0 * u / g);
  text += result.blinded
              ? std::string("    BLIND: every G here carries a hidden factor; see --open\n")
              : comparison(g, u);
  if (result.monte_carlo) {
    const analysis::MonteCarloResult& drawn = result.monte_carlo->result;
    text += fmt::format(
        "95 % interval: {:.4g} to {:.4g} (effective degrees of freedom {})\n"
        "    by {} draws of all inputs: {:.4g} to {:.4g}, shortest {:.4g} to {:.4g}{}\n",
        result.interval_95.low,
        result.interval_95.high,
        result.budget->effective_degrees_of_freedom > 1e4
            ? "without limit"
            : fmt::format("{:.0f}", result.budget->effective_degrees_of_freedom),
        drawn.trials,
        drawn.symmetric.low,
        drawn.symmetric.high,
        drawn.shortest.low,
        drawn.shortest.high,
        drawn.converged ? "" : "; not converged to two digits of u");
  }
  text += fmt::format("textbook formula alone: {:.4g} m3 kg-1 s-2\n",
                      result.gravity->textbook_m3_kg_s2);
  for (const analysis::Correction& c : result.gravity->corrections) {
    text += fmt::format("    {:+7.3f} %  {}\n", c.percent, c.name);
  }
  text += opinions_part(result.consistency);
  return text;
}

std::string noise_part(const RunInfo& info, const analysis::NightResult& result) {
  const analysis::SwingFit& fit = result.fit;
  std::string text =
      fmt::format("    noise: {:.3f} mm a position, {:.3f} mm of swing kept up by random torque",
                  fit.noise.white_mm,
                  fit.noise.torque_mm);
  if (fit.noise.slow != analysis::SlowNoise::kNone) {
    text += fmt::format(",\n    {:.3f} mm that fades with {} ({:.3g} {})",
                        fit.noise.slow_mm,
                        name_of(fit.noise.slow),
                        fit.noise.slow_memory,
                        fit.noise.slow == analysis::SlowNoise::kInTime ? "s" : "mm");
  }
  text += fmt::format("\n    drift: {}; least squares would call the shift {}\n",
                      fit.drift_name,
                      format_quantity(result.least_squares_shift_mm, "mm"));
  for (const analysis::Kick& kick : fit.kicks) {
    text += fmt::format("    the swing was kicked at {} (its speed changed by {:.3f} mm/s)\n",
                        when_text(info, kick.t_s),
                        kick.change_mm_per_s);
  }
  if (fit.away_mm && fit.away_period_s) {
    text += fmt::format("    sources away: period {}\n", format_quantity(*fit.away_period_s, "s"));
  }
  return text;
}

std::string swing_part(const RunInfo& info, const analysis::NightResult& result) {
  std::string text = fmt::format("period      {}\ndamping     {}\nshift       {}\ndrift       {}\n",
                                 format_quantity(result.fit.period_s, "s"),
                                 format_quantity(result.fit.damping_per_s, "s-1"),
                                 format_quantity(result.shift_mm, "mm"),
                                 format_quantity(result.fit.drift_mm_per_hour, "mm/h"));
  if (result.gravity) {
    text += fmt::format("deflection  {} from midway to one side\n",
                        format_quantity(result.deflection_rad, "rad"));
  }
  text += fmt::format("\nequilibria ({})\n", result.sides_from);
  for (const analysis::SegmentResult& s : result.segments) {
    text += fmt::format("    {:5}  {}  from {} for {}, {:.1f} periods, swing {:.1f} to {:.1f} mm\n",
                        name_of(s.segment.side),
                        format_quantity(s.equilibrium_mm, "mm"),
                        when_text(info, s.segment.from_s),
                        duration_text(s.segment.to_s - s.segment.from_s),
                        s.periods,
                        s.amplitude_from_mm,
                        s.amplitude_to_mm);
  }
  text += noise_part(info, result);
  for (const double t_s : result.disturbances_s) {
    text += fmt::format("    the swing broke off at {} and went on about the same equilibrium\n",
                        when_text(info, t_s));
  }
  if (!result.fit.left_out_s.empty()) {
    text += fmt::format("    {} positions left out as false readings (times in result.json)\n",
                        result.fit.left_out_s.size());
  }
  return text;
}

std::string budget_part(const analysis::UncertaintyBudget& budget) {
  std::string text = "uncertainty budget of G (what dominates is worth measuring better)\n";
  std::vector<analysis::BudgetRow> rows = budget.rows;
  std::ranges::stable_sort(rows, std::ranges::greater{}, &analysis::BudgetRow::share);
  for (const analysis::BudgetRow& row : rows) {
    text += fmt::format("    {:28} {:>26}   {:6.3f} % of G  {:5.1f} % of u^2\n",
                        row.input.name,
                        format_quantity({row.input.value, row.input.u}, row.input.unit),
                        100.0 * std::abs(row.contribution) / budget.value,
                        100.0 * row.share);
  }
  if (budget.dominating) {
    text += fmt::format("    dominating: {}\n", budget.rows[*budget.dominating].input.name);
  }
  text += "    measured twice as well, the uncertainty of G would fall by:\n";
  std::ranges::stable_sort(rows, std::ranges::greater{}, &analysis::BudgetRow::gain);
  for (std::size_t k = 0; k < std::min<std::size_t>(3, rows.size()); ++k) {
    if (rows[k].gain < 0.005) break;
    text += fmt::format("        {:4.1f} %  {}\n", 100.0 * rows[k].gain, rows[k].input.name);
  }
  for (const std::string& name : budget.without_uncertainty) {
    text += fmt::format("    no uncertainty was given for: {}\n", name);
  }
  return text;
}

std::string list_part(std::string_view title, const std::vector<std::string>& lines) {
  if (lines.empty()) return {};
  std::string text = fmt::format("\n{}\n", title);
  for (const std::string& line : lines) text += fmt::format("    {}\n", line);
  return text;
}

}  // namespace

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
    text += gravity_part(result) + '\n';
  } else {
    text += fmt::format("no G: {} - {}\n\n", name_of(result.status), result.message);
  }
  if (result.fit.status != analysis::FitStatus::kNotConverged)
    text += swing_part(night.info, result);
  if (result.budget) text += '\n' + budget_part(*result.budget);
  const FrameCounts& frames = night.frames_by_state;
  text += fmt::format(
      "\nframes: {} measured ({} of them with a saturated core), {} blocked, {} lost, {} dark\n",
      frames.measured(),
      frames.of(SpotState::kClipped),
      frames.of(SpotState::kBlocked),
      frames.of(SpotState::kLost),
      frames.of(SpotState::kDark));
  std::vector<std::string> warnings = night.warnings;
  warnings.insert(
      warnings.end(), source.apparatus.warnings.begin(), source.apparatus.warnings.end());
  text += list_part("assumed, because not given", source.apparatus.assumptions);
  text += list_part("warnings", warnings);
  if (result.gravity) {
    std::vector<std::string> effects;
    for (const analysis::UnmodelledEffect& e : analysis::unmodelled_effects()) {
      effects.push_back(fmt::format("{}: {}; {}", e.effect, e.size, e.remedy));
    }
    text += list_part("not in the budget (size in G; what to do)", effects);
  }
  return text;
}

}  // namespace nightswing::tracker
