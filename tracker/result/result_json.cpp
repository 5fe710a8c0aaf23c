#include <cmath>

#include <nlohmann/json.hpp>

#include "tracker/result/quantity_json.h"
#include "tracker/result/result_file.h"
#include "tracker/version.h"

namespace nightswing::tracker {
namespace {

using Json = nlohmann::ordered_json;

Json segments_of(const analysis::NightResult& result) {
  Json list = Json::array();
  for (const analysis::SegmentResult& s : result.segments) {
    list.push_back({{"side", name_of(s.segment.side)},
                    {"from_s", s.segment.from_s},
                    {"to_s", s.segment.to_s},
                    {"equilibrium_mm", quantity_json(s.equilibrium_mm)},
                    {"amplitude_from_mm", s.amplitude_from_mm},
                    {"amplitude_to_mm", s.amplitude_to_mm},
                    {"periods", s.periods},
                    {"positions_used", s.used}});
  }
  return list;
}

Json budget_of(const analysis::UncertaintyBudget& budget) {
  Json list = Json::array();
  for (const analysis::BudgetRow& row : budget.rows) {
    list.push_back({{"input", row.input.name},
                    {"value", row.input.value},
                    {"u", row.input.u},
                    {"unit", row.input.unit},
                    {"sensitivity", row.sensitivity},
                    {"share", row.share},
                    {"gain_if_halved", row.gain}});
  }
  return list;
}

void add_swing_model(Json& json, const analysis::NightResult& result) {
  const analysis::SwingFit& fit = result.fit;
  json["drift_model"] = fit.drift_name;
  json["noise"] = {{"white_mm", fit.noise.white_mm},
                   {"torque_mm", fit.noise.torque_mm},
                   {"slow", analysis::name_of(fit.noise.slow)},
                   {"slow_mm", fit.noise.slow_mm},
                   {"slow_memory", fit.noise.slow_memory}};
  json["kicks"] = Json::array();
  for (const analysis::Kick& kick : fit.kicks) {
    json["kicks"].push_back({{"t_s", kick.t_s}, {"change_mm_per_s", kick.change_mm_per_s}});
  }
  json["least_squares_shift_mm"] = quantity_json(result.least_squares_shift_mm);
  json["away_equilibrium_mm"] = quantity_json(fit.away_mm);
  json["away_period_s"] = quantity_json(fit.away_period_s);
}

Json json_of(const analysis::Interval& interval) {
  return Json::array({interval.low, interval.high});
}

void add_monte_carlo(Json& json, const analysis::NightResult& result) {
  json["G"]["interval_95"] = json_of(result.interval_95);
  if (!result.monte_carlo) return;
  const analysis::MonteCarloResult& drawn = result.monte_carlo->result;
  json["monte_carlo"] = {{"trials", drawn.trials},
                         {"converged", drawn.converged},
                         {"mean", drawn.mean},
                         {"u", drawn.u},
                         {"symmetric_95", json_of(drawn.symmetric)},
                         {"shortest_95", json_of(drawn.shortest)},
                         {"symmetric_68", json_of(drawn.symmetric_68)}};
}

void add_opinions(Json& json, const analysis::NightResult& result) {
  json["other_ways"] = Json::array();
  for (const analysis::Opinion& opinion : result.consistency.opinions) {
    json["other_ways"].push_back({{"method", opinion.method},
                                  {"value", opinion.g_m3_kg_s2.value},
                                  {"u", opinion.g_m3_kg_s2.u}});
  }
  json["consistent"] = result.consistency.consistent;
  json["consistency"] = result.consistency.statement;
}

void add_gravity(Json& json, const analysis::NightResult& result) {
  if (!result.gravity || !result.budget) {
    json["G"] = nullptr;
    return;
  }
  json["G"] = {{"value", result.gravity->g_m3_kg_s2},
               {"u", result.budget->u},
               {"unit", kUnitOfG},
               {"coverage_factor", 1}};
  const double freedom = result.budget->effective_degrees_of_freedom;
  json["G"]["degrees_of_freedom"] = std::isfinite(freedom) ? Json(freedom) : Json(nullptr);
  add_monte_carlo(json, result);
  add_opinions(json, result);
  const analysis::FrequencyRatios& ratios = result.gravity->frequency_ratios;
  json["period_by_side_s"] = {{"plus", result.fit.period_s.value / ratios.plus},
                              {"minus", result.fit.period_s.value / ratios.minus}};
  json["textbook_G"] = result.gravity->textbook_m3_kg_s2;
  json["torsion_constant_N_m"] = result.gravity->kappa_n_m;
  json["inertia_kg_m2"] = result.gravity->inertia_kg_m2;
  json["corrections"] = Json::array();
  for (const analysis::Correction& c : result.gravity->corrections) {
    json["corrections"].push_back({{"name", c.name}, {"percent", c.percent}});
  }
  json["budget"] = budget_of(*result.budget);
  if (result.budget->dominating) {
    json["dominating_input"] = result.budget->rows[*result.budget->dominating].input.name;
  }
}

}  // namespace

std::string result_json(const ResultSource& source) {
  const analysis::NightResult& result = source.result;
  Json json;
  json["program"] = program_and_version();
  json["apparatus"] = source.apparatus.title;
  json["status"] = name_of(result.status);
  json["message"] = result.message;
  json["blinded"] = result.blinded;
  add_gravity(json, result);
  if (result.fit.status != analysis::FitStatus::kNotConverged) {
    json["period_s"] = quantity_json(result.fit.period_s);
    json["damping_per_s"] = quantity_json(result.fit.damping_per_s);
    json["drift_mm_per_hour"] = quantity_json(result.fit.drift_mm_per_hour);
    json["wide_swing"] = {{"most_mm", result.wide_swing_mm},
                          {"shift_mm", result.wide_swing_shift_mm}};
    json["shift_mm"] = quantity_json(result.shift_mm);
    json["residual_rms_mm"] = result.fit.residual_rms_mm;
    json["correlation_widening"] = result.fit.correlation_widening;
    json["left_out_s"] = result.fit.left_out_s;
    add_swing_model(json, result);
  }
  if (result.gravity) json["deflection_rad"] = quantity_json(result.deflection_rad);
  json["segments"] = segments_of(result);
  json["sides_from"] = result.sides_from;
  json["disturbances_s"] = result.disturbances_s;
  json["path_tilt_rad"] = result.path.tilt_rad;
  json["frames"] = Json::object();
  for (const SpotState state : kSpotStates) {
    json["frames"][std::string(word_for(state))] = source.night.frames_by_state.of(state);
  }
  if (const auto& camera = source.night.camera) {
    json["camera"] = {{"looks", camera->looks},
                      {"failed", camera->failed},
                      {"bumps", camera->bumps},
                      {"max_shift_px", camera->max_shift_px},
                      {"max_u_px", camera->max_u_px}};
  } else {
    json["camera"] = nullptr;
  }
  json["assumptions"] = assumptions_of(source);
  json["warnings"] = warnings_of(source);
  // A title or a path in another encoding than UTF-8 must not cost the result.
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

}  // namespace nightswing::tracker
