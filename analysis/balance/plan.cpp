#include "analysis/balance/plan.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "analysis/apparatus/source_places.h"
#include "analysis/balance/gravity_budget.h"
#include "analysis/balance/mass_distribution.h"
#include "analysis/balance/wire_stiffness.h"
#include "analysis/positions/optical_lever.h"
#include "analysis/quantities/input_error.h"

namespace nightswing::analysis {
namespace {

// Where the spot is expected midway: at the foot of the perpendicular, else in line with the laser,
// else at the scale's zero.
double midway_mm(const Apparatus& apparatus) {
  if (apparatus.foot_mm) return apparatus.foot_mm->value;
  const auto& mirror = apparatus.leaning_mirror;
  return mirror && mirror->laser_mm ? mirror->laser_mm->value : 0.0;
}

constexpr double kBoltzmann_j_per_k = 1.380649e-23;  // exact by the definition of the kelvin
constexpr double kVacuumPermittivity_f_per_m = 8.8541878128e-12;  // CODATA 2018
constexpr double kRoomTemperature_k = 293.0;
constexpr double kGravityHere_m_per_s2 = 9.8;
constexpr double kSafeLoad = 0.5;  // of the strength: common practice, no source

double square(double x) {
  return x * x;
}

/// First rotation at which the wire holds gravity: kappa theta = G g(theta), by Newton's method
/// from midway, where it converges from below because g is convex.
std::optional<double> rest_place(const PullCurve& pull, double kappa_n_m) {
  double theta = 0.0;
  for (int k = 0; k < 60; ++k) {
    const TorquePerG g = pull.at(theta);
    const double slope = kappa_n_m - kPlanningG * g.slope;
    if (!(slope > 0.0)) return std::nullopt;
    const double step = (kPlanningG * g.torque - kappa_n_m * theta) / slope;
    theta += step;
    if (theta > pull.farthest_rad()) return std::nullopt;
    if (std::abs(step) < 1e-10 * theta) return theta;
  }
  return std::nullopt;
}

double hanging_kg(const Apparatus& apparatus) {
  return 2.0 * apparatus.test.mass_kg.value + (apparatus.rod ? apparatus.rod->mass_kg.value : 0.0);
}

/// On the wall, from one side to the other, with the beam at midway along the perpendicular.
double shift_mm(const Apparatus& apparatus, double theta_rad) {
  OpticalLever lever = optical_lever(apparatus, midway_mm(apparatus));
  lever.scale_factor = 1.0;  // true millimetres, about the foot
  return x_mm_from_rotation(lever, theta_rad) - x_mm_from_rotation(lever, -theta_rad);
}

const Wire& wire_of(const Apparatus& apparatus) {
  if (!apparatus.wire) {
    throw InputError(
        "a plan needs the wire: add wire: {material: tungsten, diameter: 30 um, length: 400 mm}, "
        "with what yours is, to the apparatus file");
  }
  return *apparatus.wire;
}

WireMaterial material_of(const Wire& wire) {
  const auto material = wire_material(wire.material);
  if (material) return *material;
  std::string known;
  for (const WireMaterial& m : wire_materials()) {
    known += fmt::format("{}{}", known.empty() ? "" : ", ", m.name);
  }
  throw InputError(
      fmt::format("wire.material is '{}', whose stiffness is not known here; one of: {}",
                  wire.material,
                  known));
}

void add_budget(const Apparatus& apparatus, const PlanOptions& options, Plan& plan) {
  const double g = std::numbers::pi / (options.quality * plan.middle.near_period_s);
  const double omega0_square = square(2.0 * std::numbers::pi / plan.middle.near_period_s);
  const double middle_mm = midway_mm(apparatus);
  const NightFindings findings{
      .x_plus_mm = middle_mm + 0.5 * plan.middle.shift_mm,
      .x_minus_mm = middle_mm - 0.5 * plan.middle.shift_mm,
      .period_s = 2.0 * std::numbers::pi / std::sqrt(omega0_square - g * g),
      .damping_per_s = g,
      .period_measured = PeriodMeasured::kBesideSources};
  NightUncertainty night{.covariance = Eigen::Matrix4d::Zero(), .wall = {}};
  const double half = 0.5 * square(options.noise_mm);  // each equilibrium's variance
  night.covariance.diagonal() << half, half, 0.0, 0.0;
  const GravityInputs inputs = gravity_inputs(apparatus, findings, night);
  plan.budget = propagate(inputs.inputs, inputs.gravitational_constant);
  // All that is not the night's: nothing here is correlated.
  double sum = 0.0;
  for (std::size_t k = 0; k < inputs.first_finding; ++k) {
    sum += square(plan.budget->rows[k].contribution);
  }
  plan.apparatus_relative_u = std::sqrt(sum) / plan.budget->value;
}

void add_cautions(const Apparatus& apparatus, Plan& plan) {
  const WirePlan& w = plan.middle;
  if (w.status == PlanStatus::kPullIn) {
    plan.cautions.push_back(
        fmt::format("the wire is too soft: gravity would pull the boom into the sources; the "
                    "period of {:.0f} s "
                    "must fall below {:.0f} s (shorter or thicker wire, wider separation)",
                    w.period_s,
                    w.period_s * w.pull_in_margin));
  } else if (plan.soft.status == PlanStatus::kPullIn || w.pull_in_margin < 1.3) {
    plan.cautions.push_back(
        "the balance is near pull-in: a slightly softer wire would let the boom fall into the "
        "sources");
  }
  if (w.load_share > kSafeLoad) {
    plan.cautions.push_back(
        fmt::format("the wire carries {:.0f} % of what breaks it; stay below {:.0f} %",
                    100.0 * w.load_share,
                    100.0 * kSafeLoad));
  }
  if (w.status == PlanStatus::kRests && w.shift_mm < 2.0) {
    plan.cautions.push_back(fmt::format(
        "the spot shifts by {:.2f} mm only; a longer light path or a softer wire shows more",
        w.shift_mm));
  }
  plan.cautions.insert(plan.cautions.end(), apparatus.warnings.begin(), apparatus.warnings.end());
}

}  // namespace

WirePlan plan_wire(const Apparatus& apparatus,
                   const PullCurve& pull,
                   const Wire& wire,
                   double shear_pa,
                   double tensile_pa) {
  WirePlan plan;
  const double inertia = boom_inertia(apparatus).total_kg_m2();
  plan.kappa_n_m = torsion_constant_n_m(wire, shear_pa);
  plan.period_s = 2.0 * std::numbers::pi * std::sqrt(inertia / plan.kappa_n_m);
  plan.pull_in_margin = std::sqrt(plan.kappa_n_m / (kPlanningG * pull.critical_kappa_per_g()));
  const double strength_n = std::numbers::pi / 4.0 * square(wire.diameter_m.value) * tensile_pa;
  plan.load_share = hanging_kg(apparatus) * kGravityHere_m_per_s2 / strength_n;
  const auto theta = rest_place(pull, plan.kappa_n_m);
  if (!theta || plan.pull_in_margin < 1.0) return plan;
  plan.status = PlanStatus::kRests;
  plan.theta_rad = *theta;
  const double slope = pull.at(*theta).slope;
  plan.near_period_s =
      2.0 * std::numbers::pi * std::sqrt(inertia / (plan.kappa_n_m - kPlanningG * slope));
  plan.shift_mm = shift_mm(apparatus, *theta);
  return plan;
}

double charge_like_gravity_c(const Apparatus& apparatus) {
  return std::sqrt(4.0 * std::numbers::pi * kVacuumPermittivity_f_per_m * kPlanningG *
                   apparatus.source.mass_kg.value * apparatus.test.mass_kg.value);
}

Plan plan_balance(const Apparatus& apparatus, const PullCurve& pull, const PlanOptions& options) {
  const Wire& wire = wire_of(apparatus);
  const WireMaterial material = material_of(wire);
  const auto with = [&](double shear_pa) {
    return plan_wire(apparatus, pull, wire, shear_pa, material.tensile_pa);
  };
  Plan plan;
  plan.middle = with(0.5 * (material.shear_low_pa + material.shear_high_pa));
  plan.soft = with(material.shear_low_pa);
  plan.stiff = with(material.shear_high_pa);
  const WirePlan& w = plan.middle;
  plan.load_n = hanging_kg(apparatus) * kGravityHere_m_per_s2;
  plan.charge_c = charge_like_gravity_c(apparatus);
  plan.thermal_rad = std::sqrt(kBoltzmann_j_per_k * kRoomTemperature_k / w.kappa_n_m);
  plan.settling_s = std::log(100.0) * options.quality * w.period_s / std::numbers::pi;
  if (w.status == PlanStatus::kRests) {
    plan.shift_px = w.shift_mm / options.mm_per_px;
    plan.clearance_mm = 1e3 * least_room_m(apparatus, w.theta_rad);
    plan.swing_allowed_mm =
        2e3 * (pull.contact_rad() - w.theta_rad) * apparatus.mirror_to_wall_m.value;
    // Torque noise 4 k T (2 g I) (one-sided): its mean over half an hour a side, against 2 kappa
    // theta.
    const double drag = 2.0 * std::numbers::pi / (options.quality * w.period_s) *
                        boom_inertia(apparatus).total_kg_m2();
    plan.thermal_relative =
        std::sqrt(8.0 * kBoltzmann_j_per_k * kRoomTemperature_k * drag / 3600.0) /
        (2.0 * w.kappa_n_m * w.theta_rad);
    add_budget(apparatus, options, plan);
  }
  add_cautions(apparatus, plan);
  return plan;
}

double least_hours(const Plan& plan) {
  if (plan.middle.status != PlanStatus::kRests) return 0.0;
  return 2.0 * (plan.middle.near_period_s + kPlanningSettle_s) / 3600.0;
}

WallPlan plan_wall(const Apparatus& apparatus,
                   const Plan& plan,
                   const PlanOptions& options,
                   double relative_u) {
  WallPlan wall;
  if (plan.middle.status != PlanStatus::kRests) return wall;
  wall.shift_mm = shift_mm(apparatus, plan.middle.theta_rad);
  const double left = square(relative_u) - square(plan.apparatus_relative_u);
  if (left > 0.0) {
    wall.hours = std::max(square(options.noise_mm / wall.shift_mm) / left, least_hours(plan));
  }
  return wall;
}

}  // namespace nightswing::analysis
