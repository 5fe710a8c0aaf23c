#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/apparatus/wire_materials.h"
#include "analysis/balance/pull_curve.h"
#include "analysis/quantities/uncertainty_budget.h"

/// What a balance will do, before it is built.
namespace nightswing::analysis {

/// G for planning: rounded, since a wire's modulus is known to some per cent at best. No result of
/// a night depends on it; only the charge that would pull as much as gravity, which is told for
/// orientation, is worked out with it here.
inline constexpr double kPlanningG = 6.7e-11;

/// Left out after each move, as in the analysis.
inline constexpr double kPlanningSettle_s = 60.0;

struct PlanOptions {
  double quality = 10.0;   ///< pi/(damping x period) that air will give
  double mm_per_px = 0.5;  ///< of the camera on the wall
  /// u(shift) that an hour of watching leaves, falling with the root of time. Simulated nights left
  /// 0.05 mm with white noise alone, 0.11 to 0.16 mm with random torque, 0.15 to 0.30 mm with slow
  /// noise and kicks too (tests/bench/RESULTS.md: nights of an hour, and of two times root two).
  double noise_mm = 0.15;
};

enum class PlanStatus {
  kRests,   ///< the boom finds a rest place on either side
  kPullIn,  ///< gravity wins over the wire before the boom rests: it would swing into the sources
};

/// A balance with one wire.
struct WirePlan {
  PlanStatus status = PlanStatus::kPullIn;
  double kappa_n_m = 0.0;
  double period_s = 0.0;       ///< sources away
  double near_period_s = 0.0;  ///< beside the sources; 0 at pull-in
  double theta_rad = 0.0;      ///< from midway to one side; 0 at pull-in
  double shift_mm = 0.0;       ///< on the wall, from one side to the other
  /// How many times longer the period could be before pull-in (or contact); below 1: pull-in.
  double pull_in_margin = 0.0;
  double load_share = 0.0;  ///< of the wire's strength
};

/// kappa = pi G_s d^4/(32 l), the rest place by the full torque of the shapes, the margin by the
/// least stiffness that still holds the boom somewhere before contact.
///   pull       of this apparatus
///   shear_pa   G_s of the wire;  tensile_pa  its strength
[[nodiscard]] WirePlan plan_wire(const Apparatus& apparatus,
                                 const PullCurve& pull,
                                 const Wire& wire,
                                 double shear_pa,
                                 double tensile_pa);

struct Plan {
  WirePlan middle;  ///< at the middle of the modulus' range
  WirePlan soft;    ///< at its lower end
  WirePlan stiff;   ///< at its upper end
  double shift_px = 0.0;
  double clearance_mm = 0.0;      ///< between the surfaces, at rest
  double swing_allowed_mm = 0.0;  ///< on the wall, about the rest place, before the masses touch
  double settling_s = 0.0;        ///< until a swing as wide as the shift has died to 1 % of it
  double thermal_rad = 0.0;       ///< r.m.s. rotation, sqrt(k T/kappa)
  double thermal_relative = 0.0;  ///< u of the shift by thermal torque after an hour, relative
  double charge_c = 0.0;          ///< on each near pair of masses: pulls like gravity
  double load_n = 0.0;
  double apparatus_relative_u = 0.0;        ///< of G, by the lengths and masses alone
  std::optional<UncertaintyBudget> budget;  ///< with an hour's u(shift); only if it rests
  std::vector<std::string> cautions;
};

/// The charge [C] that, on each mass of a near pair, pulls as gravity does, by Coulomb's and
/// Newton's laws with the masses as points.
[[nodiscard]] double charge_like_gravity_c(const Apparatus& apparatus);

/// throws  InputError if the apparatus has no wire or one of unknown material.
[[nodiscard]] Plan plan_balance(const Apparatus& apparatus,
                                const PullCurve& pull,
                                const PlanOptions& options = {});

/// The shortest watch [h] that gives a shift: one whole period beside the sources and the settling
/// time before it, on each side. 0 at pull-in.
[[nodiscard]] double least_hours(const Plan& plan);

/// What a distance to the wall makes of a plan.
struct WallPlan {
  double shift_mm = 0.0;  ///< 0 at pull-in
  /// Of watching, both sides together, least_hours or more; nothing at pull-in, or if the apparatus
  /// alone is worse than what is wanted.
  std::optional<double> hours;
};

/// Hours for a relative u(G), at the distance that the apparatus has now: it may be another than
/// that of the plan, if it is known as well, relatively. All else counts as before.
[[nodiscard]] WallPlan plan_wall(const Apparatus& apparatus,
                                 const Plan& plan,
                                 const PlanOptions& options,
                                 double relative_u);

}  // namespace nightswing::analysis
