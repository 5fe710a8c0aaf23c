#include "tracker/report/shown_night.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <utility>

#include <fmt/format.h>

#include "analysis/balance/unmodelled_effects.h"
#include "analysis/positions/spot_path.h"
#include "analysis/quantities/quantity.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/version.h"
#include "tracker/wall/wall_calibration.h"

namespace nightswing::tracker {
namespace {

using analysis::format_quantity;
using analysis::NightResult;

/// Both lists grow in time, and the fit's times are those of its samples.
std::vector<ShownSample> samples_of(const NightOfRun& night, const NightResult& result) {
  std::vector<ShownSample> shown;
  const auto series = analysis::along_path(result.path, night.night.samples);
  std::size_t next = 0;
  const auto& fitted_s = result.fit.fitted_t_s;
  for (std::size_t i = 0; i < series.size(); ++i) {
    const double t_s = series[i].t_s;
    ShownSample sample{.t_s = t_s,
                       .x_mm = series[i].x_mm,
                       .u_mm = series[i].u_mm,
                       .residual_mm = {},
                       .left_out = std::ranges::binary_search(result.fit.left_out_s, t_s),
                       .pixel = night.pixels[i]};
    while (next < fitted_s.size() && fitted_s[next] < t_s) ++next;
    if (next < fitted_s.size() && fitted_s[next] == t_s) {
      sample.residual_mm = result.fit.residuals_mm[next];
    }
    shown.push_back(sample);
  }
  return shown;
}

ShownSegment segment_of(const analysis::SegmentResult& segment,
                        const std::vector<ShownSample>& samples) {
  double sum = 0.0;
  double squares = 0.0;
  double count = 0.0;
  for (const ShownSample& s : samples) {
    if (!s.residual_mm || s.t_s < segment.segment.from_s || s.t_s >= segment.segment.to_s) continue;
    sum += *s.residual_mm;
    squares += *s.residual_mm * *s.residual_mm;
    count += 1.0;
  }
  count = std::max(1.0, count);
  return {.side = std::string(name_of(segment.segment.side)),
          .from_s = segment.segment.from_s,
          .to_s = segment.segment.to_s,
          .equilibrium_mm = segment.equilibrium_mm,
          .without_drift_mm = segment.without_drift_mm,
          .drift_mm_per_hour = segment.drift_mm_per_hour,
          .amplitude_from_mm = segment.amplitude_from_mm,
          .amplitude_to_mm = segment.amplitude_to_mm,
          .periods = segment.periods,
          .used = segment.used,
          .residual_mean_mm = sum / count,
          .residual_rms_mm = std::sqrt(squares / count)};
}

/// The sides that the analysis went by, which --side may have put in the place of the marks in the
/// log: those marks are told as not used, the sides of the analysis stand beside them.
void show_sides_used(const std::vector<analysis::SideChange>& used,
                     std::vector<ShownEvent>& shown) {
  std::vector<analysis::SideChange> unmarked = used;
  for (ShownEvent& event : shown) {
    if (event.event != "side") continue;
    const auto is_this = [&](const analysis::SideChange& change) {
      return event.t_s && change.t_s == *event.t_s && name_of(change.side) == event.detail;
    };
    std::erase_if(unmarked, is_this);
    if (std::ranges::none_of(used, is_this)) event.event = "mark, not used";
  }
  for (const analysis::SideChange& change : unmarked) {
    shown.push_back({change.t_s,
                     duration_text(std::max(0.0, change.t_s)),
                     "side",
                     std::string(name_of(change.side))});
  }
}

std::vector<ShownEvent> events_of(const ResultSource& source) {
  std::vector<ShownEvent> shown;
  EventLog log = read_events(source.run.events());
  for (const Event& event : log.events) {
    std::string when;
    if (event.t_s) when = duration_text(std::max(0.0, *event.t_s));
    if (event.utc) {
      const std::string utc = iso_text(*event.utc);
      when = event.t_s ? fmt::format("{} ({})", when, utc) : utc;
    }
    shown.push_back({event.t_s, when, event.event, event.detail});
  }
  show_sides_used(source.night.night.sides, shown);
  // By time; an event without one stays behind the one that it was written after.
  std::vector<std::pair<double, ShownEvent>> timed;
  double last_s = 0.0;
  for (ShownEvent& event : shown) {
    last_s = event.t_s.value_or(last_s);
    timed.emplace_back(last_s, std::move(event));
  }
  std::ranges::stable_sort(timed, {}, &std::pair<double, ShownEvent>::first);
  for (std::size_t k = 0; k < timed.size(); ++k) shown[k] = std::move(timed[k].second);
  return shown;
}

void add_swing(const NightResult& result, ShownNight& shown) {
  if (result.fit.status == analysis::FitStatus::kNotConverged) return;
  shown.period_s = result.fit.period_s.value;
  shown.damping_per_s = result.fit.damping_per_s.value;
  shown.residual_rms_mm = result.fit.residual_rms_mm;
  shown.correlation_widening = result.fit.correlation_widening;
  shown.quantities = {{result.gravity ? "period of the swing, damped and beside the sources"
                                      : "period of the swing",
                       format_quantity(result.fit.period_s, "s")},
                      {"damping", format_quantity(result.fit.damping_per_s, "1/s")},
                      {"shift on the wall", format_quantity(result.shift_mm, "mm")},
                      {"drift", format_quantity(result.fit.drift_mm_per_hour, "mm/h")},
                      {"drift model", result.fit.drift_name},
                      {"swing kept up by random torque",
                       fmt::format("{:.3g} mm r.m.s.", result.fit.noise.torque_mm)}};
  if (result.fit.noise.slow != analysis::SlowNoise::kNone) {
    shown.quantities.push_back(
        {result.fit.noise.slow == analysis::SlowNoise::kInTime ? "readings alike for a while"
                                                               : "readings alike in one place",
         fmt::format("{:.3g} mm r.m.s. over {:.3g} {}",
                     result.fit.noise.slow_mm,
                     result.fit.noise.slow_memory,
                     result.fit.noise.slow == analysis::SlowNoise::kInTime ? "s" : "mm")});
  }
  if (result.fit.away_period_s) {
    shown.quantities.push_back(
        {"period, sources away", format_quantity(*result.fit.away_period_s, "s")});
  }
  if (!result.gravity) return;
  shown.quantities.push_back(
      {"rotation from midway to one side", format_quantity(result.deflection_rad, "rad")});
  shown.quantities.push_back(
      {"moment of inertia", fmt::format("{:.4g} kg m\u00b2", result.gravity->inertia_kg_m2)});
  shown.quantities.push_back(
      {"torsion constant", fmt::format("{:.4g} N m", result.gravity->kappa_n_m)});
}

std::string interval_text(const NightResult& result) {
  std::string text = fmt::format("{:.3f} to {:.3f} by the budget",
                                 kShownPerG * result.interval_95.low,
                                 kShownPerG * result.interval_95.high);
  if (result.monte_carlo) {
    const analysis::MonteCarloResult& drawn = result.monte_carlo->result;
    text += fmt::format(", {:.3f} to {:.3f} by {} draws of all inputs",
                        kShownPerG * drawn.symmetric.low,
                        kShownPerG * drawn.symmetric.high,
                        drawn.trials);
  }
  return text;
}

void add_gravity(const NightResult& result,
                 const analysis::Apparatus& apparatus,
                 ShownNight& shown) {
  if (!result.gravity || !result.budget) return;
  const analysis::Measured g{result.gravity->g_m3_kg_s2, result.budget->u};
  shown.g_m3_kg_s2 = g;
  shown.g_text = format_quantity(g, kUnitOfG);
  shown.blinded = result.blinded;
  if (!result.blinded) shown.comparison = compare_with_accepted(g);
  shown.interval_text = interval_text(result);
  shown.opinions = {{"full model", g, false}};
  for (const analysis::Opinion& opinion : result.consistency.opinions) {
    // Beside the full model, whose u holds everything.
    shown.opinions.push_back({opinion.method, opinion.g_m3_kg_s2, true});
  }
  shown.opinions.push_back(
      {"textbook formula alone", {result.gravity->textbook_m3_kg_s2, 0.0}, false});
  shown.opinions_agree = result.consistency.statement;
  for (const analysis::UnmodelledEffect& e : analysis::unmodelled_effects(apparatus)) {
    shown.not_in_budget.push_back({e.effect, e.size, e.remedy});
  }
  for (const analysis::Correction& c : result.gravity->corrections) {
    shown.corrections.push_back({c.name, c.percent});
  }
  for (const analysis::BudgetRow& row : result.budget->rows) {
    shown.budget.push_back({row.input.name,
                            format_quantity({row.input.value, row.input.u}, row.input.unit),
                            100.0 * std::abs(row.contribution) / std::abs(result.budget->value),
                            row.share});
  }
  std::ranges::stable_sort(shown.budget, std::ranges::greater{}, &ShownInput::share);
  shown.budget_note = correlation_note(*result.budget);
}

}  // namespace

bool is_marked(const ShownEvent& event) {
  return event.t_s && event.event != "started" && event.event != "ended" &&
         event.event != "calibrated";
}

ShownNight shown_night(const ResultSource& source, std::vector<std::string> commands) {
  const NightResult& result = source.result;
  ShownNight shown;
  shown.title = source.apparatus.title;
  shown.program = program_and_version();
  shown.run = source.run.path.string();
  shown.source = source.night.info.source;
  shown.start = source.night.info.start;
  shown.status = name_of(result.status);
  shown.message = result.message;
  shown.sides_from = result.sides_from;
  shown.samples = samples_of(source.night, result);
  shown.events = events_of(source);
  shown.wall_text = describe(source.night.map);
  shown.map = source.night.map;
  shown.assumptions = assumptions_of(source);
  shown.warnings = warnings_of(source);
  shown.commands = std::move(commands);
  for (const analysis::SegmentResult& segment : result.segments) {
    shown.segments.push_back(segment_of(segment, shown.samples));
  }
  add_swing(result, shown);
  add_gravity(result, source.apparatus, shown);
  if (std::filesystem::exists(source.run.apparatus())) {
    shown.apparatus_text = read_whole_file(source.run.apparatus());
  }
  for (const SpotState state : kSpotStates) {
    shown.frames.push_back(
        {std::string(word_for(state)), fmt::format("{}", source.night.frames_by_state.of(state))});
  }
  return shown;
}

const ShownSegment* segment_at(const ShownNight& night, double t_s) {
  for (const ShownSegment& segment : night.segments) {
    if (segment.from_s <= t_s && t_s < segment.to_s) return &segment;
  }
  return nullptr;
}

}  // namespace nightswing::tracker
