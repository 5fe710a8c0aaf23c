#include "tracker/commands/plan_text.h"

#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "analysis/quantities/uncertainty_budget.h"
#include "tracker/commands/commands.h"
#include "tracker/text/text_lines.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

using analysis::Plan;
using analysis::PlanStatus;
using analysis::WirePlan;

/// "17 min" below two hours, "3.4 h" from there on.
std::string watching_text(double hours) {
  return hours < 2.0 ? fmt::format("{:.0f} min", std::ceil(60.0 * hours))
                     : fmt::format("{:.2g} h", hours);
}

std::string balance_part(const analysis::Apparatus& apparatus,
                         const analysis::PlanOptions& options,
                         const Plan& plan) {
  const WirePlan& w = plan.middle;
  std::string text = fmt::format(
      "torsion constant    {:.3g} N m ({:.3g} to {:.3g} by the material)\n"
      "period              {:.0f} s ({:.0f} to {:.0f}), sources away\n",
      w.kappa_n_m,
      plan.soft.kappa_n_m,
      plan.stiff.kappa_n_m,
      w.period_s,
      plan.stiff.period_s,
      plan.soft.period_s);
  if (w.status == PlanStatus::kRests) {
    text += fmt::format(
        "deflection          {:.3g} mrad = {:.3g} degrees from midway to one side\n"
        "shift on the wall   {:.1f} mm at {:.2f} m = {:.0f} px at {:.2g} mm a px\n"
        "clearance left      {:.1f} mm; the spot may swing {:.0f} mm about its rest place\n"
        "settling            {:.1f} h until a hundredth is left (Q = {:.0f}); not needed for the "
        "fit\n"
        "thermal torque      {:.2g} urad r.m.s.; {:.1g} % of the shift after an hour\n",
        1e3 * w.theta_rad,
        w.theta_rad * 180.0 / std::numbers::pi,
        w.shift_mm,
        apparatus.mirror_to_wall_m.value,
        plan.shift_px,
        options.mm_per_px,
        plan.clearance_mm,
        plan.swing_allowed_mm,
        plan.settling_s / kHour_s,
        options.quality,
        1e6 * plan.thermal_rad,
        100.0 * plan.thermal_relative);
  }
  text += fmt::format(
      "pull-in             at {:.2f} times this period\n"
      "load on the wire    {:.2g} N, {:.0f} % of what breaks it, roughly: kinks and clamps weaken "
      "it\n"
      "charge like gravity {:.2g} pC on each mass\n",
      w.pull_in_margin,
      plan.load_n,
      100.0 * w.load_share,
      1e12 * plan.charge_c);
  return text;
}

std::string hours_part(const analysis::Apparatus& apparatus,
                       const analysis::PlanOptions& options,
                       const Plan& plan,
                       double target_relative_u) {
  if (!plan.budget) return {};
  std::string text = fmt::format(
      "\nuncertainty of G    {:.2f} % by masses and lengths, {:.2f} % with an hour of watching\n"
      "                    (u of the shift {:.2g} mm after an hour assumed, falling with the "
      "root of time)\n",
      100.0 * plan.apparatus_relative_u,
      100.0 * plan.budget->u / plan.budget->value,
      options.noise_mm);
  const auto hours = plan_wall(apparatus, plan, options, target_relative_u).hours;
  if (hours) {
    text += fmt::format(
        "watch for {:.2g} %       {}\n", 100.0 * target_relative_u, watching_text(*hours));
  } else {
    text += fmt::format("watch for {:.2g} %       never: measure first what the list names\n",
                        100.0 * target_relative_u);
  }
  text += fmt::format(
      "shortest watch      {}: a whole period of {:.0f} s on each side, after {:.0f} s of "
      "settling\n",
      watching_text(least_hours(plan)),
      plan.middle.near_period_s,
      analysis::kPlanningSettle_s);
  text +=
      "                    (two periods a side, and a second move of the sources, tell far better "
      "how\n                    certain the shift is)\n"
      "what helps most, measured twice as well\n";
  for (const analysis::BudgetRow& row : rows_by_gain(*plan.budget, 4)) {
    if (row.input.name.starts_with("equilibrium ")) continue;  // a matter of the hours above
    text += fmt::format("    {:28} u(G) falls by {:.0f} %\n", row.input.name, 100.0 * row.gain);
  }
  return text;
}

/// Half and double of the wire's diameter as well, in the materials that are drawn so thin.
std::string wire_table(const analysis::Apparatus& apparatus, const analysis::PullCurve& pull) {
  std::string text = fmt::format(
      "\nother wires, length {:.0f} mm          period     shift at {:.1f} m   load   "
      "pulled in at\n",
      1e3 * apparatus.wire->length_m.value,
      apparatus.mirror_to_wall_m.value);
  for (const analysis::WireMaterial& material : analysis::wire_materials()) {
    for (const double factor : {0.6, 1.0, 1.6}) {
      analysis::Wire wire = *apparatus.wire;
      wire.diameter_m.value *= factor;
      const WirePlan w = plan_wire(apparatus,
                                   pull,
                                   wire,
                                   0.5 * (material.shear_low_pa + material.shear_high_pa),
                                   material.tensile_pa);
      const bool rests = w.status == PlanStatus::kRests;
      text +=
          fmt::format("    {:18} {:6.0f} um   {:8.0f} s   {:>12}   {:5.0f} %   {}{}\n",
                      material.name,
                      1e6 * wire.diameter_m.value,
                      w.period_s,
                      rests ? fmt::format("{:.1f} mm", w.shift_mm) : "none",
                      100.0 * w.load_share,
                      rests ? fmt::format("{:.1f} x its period", w.pull_in_margin) : "here already",
                      w.load_share > 1.0 ? ", breaks" : "");
    }
  }
  return text;
}

std::string wall_table(const analysis::Apparatus& apparatus,
                       const analysis::PlanOptions& options,
                       const Plan& plan,
                       double target_relative_u) {
  std::string text = "\nother distances to the wall   shift      watch for the target\n";
  for (const double distance_m : {1.0, 2.0, 3.0, 5.0, 8.0, 12.0}) {
    analysis::Apparatus there = apparatus;
    there.mirror_to_wall_m.value = distance_m;
    const analysis::WallPlan wall = plan_wall(there, plan, options, target_relative_u);
    text += fmt::format("    {:4.0f} m              {:9.1f} mm   {}\n",
                        distance_m,
                        wall.shift_mm,
                        wall.hours ? watching_text(*wall.hours) : "never");
  }
  return text;
}

}  // namespace

std::string plan_text(const analysis::Apparatus& apparatus,
                      const analysis::PlanOptions& options,
                      double target_relative_u) {
  const analysis::PullCurve pull(apparatus);
  const Plan plan = plan_balance(apparatus, pull, options);
  std::string text = fmt::format("{}: what to expect\n{}\n", apparatus.title, std::string(72, '-'));
  text += listed("warnings", plan.cautions);  // beside what they may spoil
  if (!plan.cautions.empty()) text += '\n';
  text += balance_part(apparatus, options, plan);
  text += hours_part(apparatus, options, plan, target_relative_u);
  text += wire_table(apparatus, pull);
  text += wall_table(apparatus, options, plan, target_relative_u);
  if (!apparatus.assumptions.empty()) text += "\nassumed, because not given\n";
  for (const std::string& line : apparatus.assumptions) text += fmt::format("    {}\n", line);
  return text + fmt::format("\nbefore you build\n{}\n", kCautions);
}

}  // namespace nightswing::tracker
