#include <algorithm>
#include <cmath>
#include <sstream>

#include <fmt/format.h>

#include "analysis/quantity.h"
#include "tracker/comparison.h"
#include "tracker/result_file.h"
#include "tracker/version.h"

namespace nightswing::tracker {
namespace {

using analysis::format_quantity;

/// Inputs below this share of the squared uncertainty are only named: result.json has them all.
constexpr double kShareToPrint = 5e-4;

std::string when_text(const RunInfo& info, double t_s) {
  std::string text = duration_text(t_s);
  if (info.start) text += fmt::format(" ({})", iso_text(after(*info.start, t_s)));
  return text;
}

/// The sentence broken at blanks into lines of the page.
std::string in_lines(const std::string& sentence, std::string_view indent) {
  constexpr std::size_t kPageWidth = 96;
  std::string text;
  std::string line(indent);
  std::istringstream words(sentence);
  for (std::string word; words >> word;) {
    if (line.size() > indent.size() && line.size() + 1 + word.size() > kPageWidth) {
      text += line + '\n';
      line = indent;
    }
    if (line.size() > indent.size()) line += ' ';
    line += word;
  }
  return text + line + '\n';
}

std::string gravity_part(const analysis::NightResult& result) {
  const double g = result.gravity->g_m3_kg_s2;
  const double u = result.budget->u;
  std::string text = fmt::format("G = {}   ({:.2f} %, standard uncertainty, k = 1)\n",
                                 format_quantity({g, u}, "m3 kg-1 s-2"),
                                 100.0 * u / g);
  text += in_lines(compare_with_accepted({g, u}).sentence, "    ");
  text += fmt::format("textbook formula alone: {:.4g} m3 kg-1 s-2\n",
                      result.gravity->textbook_m3_kg_s2);
  for (const analysis::Correction& c : result.gravity->corrections) {
    text += fmt::format("    {:+7.3f} %  {}\n", c.percent, c.name);
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
  if (result.wide_swing_mm > 0.0) {
    text += fmt::format(
        "wide swing  the uneven pull moved positions by up to {:.3f} mm; without that the shift\n"
        "            is {:+.4f} mm different\n",
        result.wide_swing_mm,
        result.wide_swing_shift_mm);
  }
  text += '\n' + in_lines(
                     "equilibria, readings of the scale in the middle of each segment, drift "
                     "included (the shift is taken at one moment and in true mm); " +
                         result.sides_from,
                     "");
  for (const analysis::SegmentResult& s : result.segments) {
    text += fmt::format(
        "    {:5}  {}, {:.1f} periods, swing {:.1f} to {:.1f} mm,\n           from {} for {}\n",
        name_of(s.segment.side),
        format_quantity(s.equilibrium_mm, "mm"),
        s.periods,
        s.amplitude_from_mm,
        s.amplitude_to_mm,
        when_text(info, s.segment.from_s),
        duration_text(s.segment.to_s - s.segment.from_s));
  }
  text += fmt::format(
      "    one position scatters by {:.3f} mm about the fit; correlation of the readings makes\n"
      "    u(shift) {:.1f} times wider than if they were independent\n",
      result.fit.residual_rms_mm,
      result.fit.correlation_widening);
  for (const double t_s : result.disturbances_s) {
    text += fmt::format("    the swing broke off at {} and went on about the same equilibrium\n",
                        when_text(info, t_s));
  }
  if (!result.fit.left_out_s.empty()) {
    text += fmt::format(
        "    {} positions left out: further from the fit than 5 times the usual scatter (times in\n"
        "    result.json)\n",
        result.fit.left_out_s.size());
  }
  return text;
}

std::string budget_part(const analysis::UncertaintyBudget& budget) {
  std::string text = "uncertainty budget of G (what dominates is worth measuring better)\n";
  std::vector<analysis::BudgetRow> rows = budget.rows;
  std::ranges::stable_sort(rows, std::ranges::greater{}, &analysis::BudgetRow::share);
  std::string negligible;
  for (const analysis::BudgetRow& row : rows) {
    if (std::abs(row.share) < kShareToPrint) {
      negligible += (negligible.empty() ? "" : ", ") + row.input.name;
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
  if (budget.dominating) {
    text += fmt::format("    dominating: {}\n", budget.rows[*budget.dominating].input.name);
  }
  for (const std::string& name : budget.without_uncertainty) {
    text += fmt::format("    no uncertainty was given for: {}\n", name);
  }
  return text;
}

std::string list_part(std::string_view title, const std::vector<std::string>& lines) {
  if (lines.empty()) return {};
  std::string text = fmt::format("\n{}\n", title);
  for (const std::string& line : lines) text += in_lines(line, "    ");
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
    text +=
        in_lines(fmt::format("no G: {} - {}", name_of(result.status), result.message), "") + '\n';
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
  warnings.insert(warnings.end(), result.warnings.begin(), result.warnings.end());
  text += list_part("assumed, because not given", source.apparatus.assumptions);
  text += list_part("warnings", warnings);
  return text;
}

}  // namespace nightswing::tracker
