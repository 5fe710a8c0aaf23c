#include "tests/support/night_trial.h"

#include <cmath>
#include <numbers>
#include <random>

#include "analysis/positions/optical_lever.h"
#include "tests/analysis/balance/reference_balance.h"

namespace nightswing::test {
namespace {

using analysis::Measured;
using analysis::Side;

// Deflection and period beside the sources of the reference balance, computed by two independent
// routes (torque by two quadratures, equilibrium by root finding).
constexpr double kTheta_rad = 5.42207058e-3;
constexpr double kPeriodBeside_s = 545.118407;
constexpr double kWall_m = 4.0;
constexpr double kDamping_per_s = 1.0 / 1800.0;  // Q = 10

DrivenNight base_night() {
  DrivenNight night;
  const double straight_mm = 4.0 * kTheta_rad * kWall_m * 1e3;
  night.plus_mm = 200.0 + 0.5 * straight_mm;
  night.minus_mm = 200.0 - 0.5 * straight_mm;
  const double w0 = 2.0 * std::numbers::pi / kPeriodBeside_s;
  night.period_s = 2.0 * std::numbers::pi / std::sqrt(w0 * w0 - kDamping_per_s * kDamping_per_s);
  night.away_period_s = night.period_s;
  night.damping_per_s = kDamping_per_s;
  night.start_mm = 30.0;
  return night;
}

std::vector<NightKind> make_kinds() {
  std::vector<NightKind> kinds;
  kinds.push_back({"white", base_night()});
  DrivenNight stirred = base_night();
  stirred.torque_mm = 0.5;
  kinds.push_back({"stirred", stirred});
  DrivenNight mixed = base_night();
  mixed.torque_mm = 0.3;
  mixed.slow_mm = 0.2;
  mixed.kicks = 2;
  mixed.drift_mm_per_hour = 0.5;
  mixed.gap_share = 0.05;
  mixed.outlier_share = 0.01;
  kinds.push_back({"mixed", mixed});
  mixed.sides = {
      {Side::kPlus, 0.0}, {Side::kMinus, 1800.0}, {Side::kPlus, 3600.0}, {Side::kMinus, 5400.0}};
  kinds.push_back({"mixed, four sides", mixed});
  return kinds;
}

}  // namespace

const std::vector<NightKind>& night_kinds() {
  static const std::vector<NightKind> kinds = make_kinds();
  return kinds;
}

analysis::Apparatus measured_balance(std::uint32_t seed) {
  std::mt19937_64 generator(seed + 1000003ULL);
  std::normal_distribution<double> normal(0.0, 1.0);
  std::uniform_real_distribution<double> uniform(-1.0, 1.0);
  analysis::Apparatus apparatus = reference_balance();
  const auto measure = [&](Measured& quantity, double relative_u) {
    const double u = relative_u * quantity.value;
    quantity = {quantity.value + u * normal(generator), u};
  };
  measure(apparatus.source.mass_kg, 1e-3);
  measure(apparatus.test.mass_kg, 2e-3);
  measure(apparatus.arm_m, 2e-3);
  measure(apparatus.rod->mass_kg, 1e-2);
  measure(apparatus.rod->length_m, 2e-3);
  measure(apparatus.mirror_inertia_kg_m2, 0.1);
  measure(apparatus.mirror_to_wall_m, 1e-3);
  measure(apparatus.scale_factor, 5e-4);
  const double limit_m = 2e-4;
  apparatus.separation_m = Measured{apparatus.separation_m->value + limit_m * uniform(generator),
                                    limit_m / std::sqrt(3.0),
                                    analysis::Distribution::kRectangular};
  apparatus.foot_mm = Measured{200.0 + 5.0 * normal(generator), 5.0};
  return apparatus;
}

NightTrial try_night(const NightKind& kind, std::uint32_t seed, std::size_t trials) {
  DrivenNight swing = kind.night;
  swing.seed = seed;
  const DrivenTrack track = make_driven(swing);
  const analysis::OpticalLever lever{.mirror_to_wall_m = kWall_m, .foot_mm = 200.0};
  analysis::Night night;
  for (const analysis::SwingSample& sample : track.samples) {
    night.samples.push_back({.t_s = sample.t_s,
                             .x_mm = x_mm_from_straightened(lever, sample.x_mm),
                             .y_mm = 35.0,
                             .u_x_mm = sample.u_mm,
                             .u_y_mm = sample.u_mm});
  }
  night.sides = swing.sides;
  NightTrial trial;
  trial.true_shift_mm = swing.plus_mm - swing.minus_mm;
  trial.result = analysis::analyse_night(
      night, measured_balance(seed), {.settle_s = 0.0, .monte_carlo_trials = trials});
  return trial;
}

}  // namespace nightswing::test
