#include "demo_video/balance_physics.h"

#include <cmath>
#include <numbers>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;
using test::within_rel;

// Test masses 50 g at +-0.1 m, sources 4 kg at (0.1, 0.06, 0) and (-0.1, -0.06, 0).
Balance bench() {
  Balance balance;
  balance.source_mass_kg = 4;
  balance.source_diameter_m = 0.0876;
  balance.test_mass_kg = 0.05;
  balance.test_diameter_m = 2 * std::cbrt(3 * 0.05 / (4 * std::numbers::pi * 11340));  // lead
  balance.arm_m = 0.1;
  balance.separation_m = 0.06;
  balance.rod_mass_kg = 0;
  balance.mirror_inertia_kg_m2 = 0;
  balance.free_period_s = 540;
  return balance;
}

Balance bench_with_rod() {
  Balance balance = bench();
  balance.rod_mass_kg = 0.008;
  balance.rod_length_m = 0.2;
  balance.rod_diameter_m = 0.004;
  balance.mirror_inertia_kg_m2 = 2e-7;
  return balance;
}

// All torques of this suite: computed by two independent routes to the digits given.
TEST_SUITE("balance_physics") {
  TEST_CASE("spheres attract spheres like points, near and far ones, at any angle") {
    const BalancePhysics physics(bench());
    const SourcePose plus = source_pose(physics.balance(), Side::kPlus);
    CHECK(physics.torque_per_g(0, plus) == within_abs(10.8474892, 5e-8));
    CHECK(physics.torque_per_g(5e-3, plus) == within_abs(11.0376086, 5e-8));
    CHECK(physics.torque_per_g(-5e-3, plus) == within_abs(10.6617132, 5e-8));
  }

  TEST_CASE("at theta = 0 the torque is the textbook sum of the near and the far pair") {
    // 2 M m a (1/b^2)(1 - beta), beta = b^3/(b^2 + 4 a^2)^1.5: plain geometry.
    const Balance balance = bench();
    const double a = balance.arm_m, b = balance.separation_m;
    const double beta = std::pow(b, 3) / std::pow(b * b + 4 * a * a, 1.5);
    const double expected =
        2 * balance.source_mass_kg * balance.test_mass_kg * a / (b * b) * (1 - beta);
    CHECK(BalancePhysics(balance).torque_per_g(0, source_pose(balance, Side::kPlus)) ==
          within_rel(expected, 1e-13));  // rounding
  }

  TEST_CASE("the solid round rod is attracted as the integral over its volume says") {
    Balance balance = bench_with_rod();
    const SourcePose plus = source_pose(balance, Side::kPlus);
    const double with = BalancePhysics(balance).torque_per_g(0, plus);
    const double without = BalancePhysics(bench()).torque_per_g(0, plus);
    CHECK(with - without == within_abs(0.282747149, 2e-9));
    balance.rod_diameter_m = 1e-9;  // the thin rod
    CHECK(BalancePhysics(balance).torque_per_g(0, plus) - without == within_abs(0.282792009, 2e-9));
  }

  TEST_CASE("the other side turns the boom the other way, away and crosswise none") {
    const BalancePhysics physics(bench_with_rod());
    const Balance& balance = physics.balance();
    const SourcePose minus = source_pose(balance, Side::kMinus);
    CHECK(physics.torque_per_g(-4e-3, minus) ==
          within_rel(-physics.torque_per_g(4e-3, source_pose(balance, Side::kPlus)), 1e-12));
    CHECK(physics.torque_per_g(4e-3, source_pose(balance, Side::kAway)) == 0);
    const SourcePose crosswise{std::numbers::pi / 2, 1};  // by symmetry
    CHECK(physics.torque_per_g(0, crosswise) == within_abs(0, 1e-13));
  }

  TEST_CASE("the gradient is the derivative of the torque") {
    const BalancePhysics physics(bench_with_rod());
    const SourcePose plus = source_pose(physics.balance(), Side::kPlus);
    for (const double theta : {-8e-3, 0.0, 5e-3}) {
      const double h = 1e-4;
      const double difference =
          (physics.torque_per_g(theta + h, plus) - physics.torque_per_g(theta - h, plus)) / (2 * h);
      // The third derivative is about 24 (a/b)^2 per rad^2 of the gradient: h^2/6 of it is 1e-7.
      CHECK(physics.torque_gradient_per_g(theta, plus) == within_rel(difference, 1e-6));
    }
  }

  TEST_CASE("a whole balance has the inertia, the rest angle and the periods of the worked case") {
    const BalancePhysics physics(bench_with_rod());
    const SourcePose plus = source_pose(physics.balance(), Side::kPlus);
    CHECK(physics.inertia_kg_m2() == within_abs(1.03101376e-3, 6e-12));
    CHECK(physics.wire_constant_n_m_per_rad() == within_abs(1.39584334e-7, 1e-15));
    CHECK(physics.torque_per_g(0, plus) == within_abs(11.1302363, 6e-8));
    const double rest_rad = physics.equilibrium_rad(plus, 0);
    CHECK(rest_rad == within_abs(5.42207058e-3, 1e-10));
    CHECK(physics.period_s(rest_rad, plus) == within_abs(545.118407, 2e-6));
    CHECK(physics.period_s(0, source_pose(physics.balance(), Side::kAway)) ==
          within_rel(540, 1e-14));
  }

  TEST_CASE("too soft a wire is refused: the sources would pull the boom in") {
    // Without the far pair and the rod the longest period of this geometry is 2175.31 s:
    // T_max = 2 pi sqrt(4 b^3/(27 G M)).
    Balance balance = bench();
    balance.free_period_s = 2000;
    const SourcePose plus = source_pose(balance, Side::kPlus);
    CHECK(BalancePhysics(balance).equilibrium_rad(plus, 0) > 0);
    balance.free_period_s = 2400;
    CHECK_THROWS_AS(static_cast<void>(BalancePhysics(balance).equilibrium_rad(plus, 0)),
                    SettingsError);
  }

  TEST_CASE("the sources move smoothly and keep clear of the test masses") {
    const Balance balance;
    const SourcePose plus = source_pose(balance, Side::kPlus);
    const SourcePose minus = source_pose(balance, Side::kMinus);
    const double circle_m = std::hypot(balance.arm_m, balance.separation_m);
    for (int i = 0; i <= 100; ++i) {
      const SourcePose pose = pose_between(plus, minus, i / 100.0);
      const double gap_m = std::hypot(circle_m * std::cos(pose.azimuth_rad) - balance.arm_m,
                                      circle_m * std::sin(pose.azimuth_rad));
      CHECK(gap_m >= balance.separation_m - 1e-12);  // b at the ends, more between
    }
    CHECK(pose_between(plus, minus, 0).azimuth_rad == plus.azimuth_rad);
    CHECK(pose_between(plus, minus, 1).azimuth_rad == within_abs(minus.azimuth_rad, 1e-15));
  }
}

}  // namespace
}  // namespace nightswing::demo
