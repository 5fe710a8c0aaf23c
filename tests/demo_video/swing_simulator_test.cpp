#include "demo_video/swing_simulator.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "demo_video/optical_lever.h"
#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using std::numbers::pi;
using test::within_abs;
using test::within_rel;

NightSettings quiet_night(Side side, double duration_s) {
  NightSettings settings;
  settings.sides = {{side, 0}};
  settings.duration_s = duration_s;
  settings.swing.drift_mm_per_hour = 0;
  return settings;
}

double largest_difference(const std::vector<SwingState>& one,
                          const std::vector<SwingState>& other) {
  REQUIRE(one.size() == other.size());
  double largest = 0;
  for (std::size_t i = 0; i < one.size(); ++i) {
    CHECK(one[i].t_s == other[i].t_s);
    largest = std::max(largest, std::abs(one[i].theta_rad - other[i].theta_rad));
  }
  return largest;
}

TEST_SUITE("swing_simulator") {
  TEST_CASE("without gravity the boom is the damped oscillator of the textbook") {
    NightSettings settings = quiet_night(Side::kAway, 7200);
    settings.balance.amplitude_decay_time_s = 1500;
    settings.swing.first_phase_deg = 25;
    const auto states = simulate_swing(settings);
    REQUIRE(states.size() == 1440);
    // theta = exp(-g t) (c cos w t + s sin w t), w^2 = w0^2 - g^2, from the first state.
    const double g = 1 / settings.balance.amplitude_decay_time_s;
    const double w = std::sqrt(std::pow(2 * pi / settings.balance.free_period_s, 2) - g * g);
    const double c = states[0].theta_rad;
    const double s = (states[0].rate_rad_per_s + g * c) / w;
    for (const SwingState& state : states) {
      const double expected =
          std::exp(-g * state.t_s) * (c * std::cos(w * state.t_s) + s * std::sin(w * state.t_s));
      // Runge-Kutta: (w h)^4/120 per radian, 1e-11 of 7 mrad after 75 rad.
      CHECK(state.theta_rad == within_abs(expected, 1e-12));
    }
  }

  TEST_CASE("the first swing has the amplitude and the phase that were asked for") {
    NightSettings settings = quiet_night(Side::kAway, 600);
    settings.swing.first_phase_deg = 0;
    settings.lever.beam_angle_deg = 0;
    const auto states = simulate_swing(settings);
    CHECK(states.front().rate_rad_per_s == within_abs(0, 1e-18));
    // tan(2 theta) against 2 theta: 45 mm (45/3110)^2/3 = 0.003 mm
    CHECK(path_mm(settings.lever, states.front().theta_rad) == within_abs(45, 0.004));
  }

  TEST_CASE("halving the step does not move the default night") {
    NightSettings settings;
    const auto states = simulate_swing(settings);
    settings.swing.step_s /= 2;
    // 1e-9 rad is 6 nm on the wall.
    CHECK(largest_difference(states, simulate_swing(settings)) < 1e-9);
  }

  TEST_CASE("the error of the step falls with its fourth power") {
    NightSettings settings = quiet_night(Side::kPlus, 3600);
    settings.frame_every_s = 20;
    settings.swing.step_s = 2.5;
    const auto finest = simulate_swing(settings);
    settings.swing.step_s = 10;
    const double middle = largest_difference(simulate_swing(settings), finest);
    settings.swing.step_s = 20;
    const double coarse = largest_difference(simulate_swing(settings), finest);
    // 2^4 = 16; the finest has 1/256 of the middle's own error, and a fifth-order term remains.
    CHECK(coarse / middle == within_rel(16, 0.1));
  }

  TEST_CASE("a damped boom comes to rest where wire and gravity balance, on each side") {
    NightSettings settings;
    settings.balance.amplitude_decay_time_s = 400;
    settings.sides = {{Side::kPlus, 0}, {Side::kAway, 10000}, {Side::kMinus, 20000}};
    settings.duration_s = 30000;
    settings.swing.drift_mm_per_hour = 0;
    const auto states = simulate_swing(settings);
    const BalancePhysics physics(settings.balance);
    const double rest_rad = physics.equilibrium_rad(source_pose(settings.balance, Side::kPlus), 0);
    // exp(-10000/400) = 1e-11 of 17 mrad
    CHECK(states[1999].theta_rad == within_abs(rest_rad, 1e-12));
    CHECK(states[3999].theta_rad == within_abs(0, 1e-12));
    CHECK(states[5999].theta_rad == within_abs(-rest_rad, 1e-12));
  }

  TEST_CASE("the sources stand, move within the time of the move, and stand again") {
    const NightSettings settings;
    const SourcePose plus = source_pose(settings.balance, Side::kPlus);
    const SourcePose minus = source_pose(settings.balance, Side::kMinus);
    CHECK(pose_at(settings, 7499).azimuth_rad == plus.azimuth_rad);
    CHECK(pose_at(settings, 7510).azimuth_rad == within_abs(pi / 2, 1e-12));  // half-way: crosswise
    CHECK(pose_at(settings, 7520).azimuth_rad == minus.azimuth_rad);
  }

  TEST_CASE("the kick of a move is added once to the boom's rate") {
    NightSettings settings = quiet_night(Side::kAway, 400);
    settings.sides = {{Side::kAway, 0}, {Side::kPlus, 300}};
    settings.swing.move_kick_rad_per_s = 0;
    const auto calm = simulate_swing(settings);
    settings.swing.move_kick_rad_per_s = 2e-6;
    const auto kicked = simulate_swing(settings);
    CHECK(kicked[59].rate_rad_per_s == calm[59].rate_rad_per_s);
    CHECK(kicked[60].rate_rad_per_s - calm[60].rate_rad_per_s == within_rel(2e-6, 1e-9));
    CHECK(kicked[61].rate_rad_per_s - calm[61].rate_rad_per_s == within_rel(2e-6, 0.01));
  }

  TEST_CASE("drift and creep carry the equilibrium over the wall as set") {
    NightSettings settings;
    settings.swing.drift_mm_per_hour = 0.3;
    settings.swing.relaxation_mm = 2;
    settings.swing.relaxation_time_s = 1800;
    CHECK(wire_angle_rad(settings, 0) == 0);
    // After two hours 0.6 mm of drift and 2 (1 - exp(-4)) mm of creep.
    const double expected_mm = 0.6 + 2 * (1 - std::exp(-4.0));
    const double moved_mm =
        path_mm(settings.lever, wire_angle_rad(settings, 7200)) - path_mm(settings.lever, 0);
    CHECK(moved_mm == within_abs(expected_mm, 1e-4));  // tan alpha * 2.6 mm / D = 7e-6 of it
    settings.lever.reversed = true;                    // still towards larger x
    CHECK(path_mm(settings.lever, wire_angle_rad(settings, 7200)) > path_mm(settings.lever, 0));
  }

  TEST_CASE("white torque noise shakes the boom as the theorem of equipartition demands") {
    // With the one-sided density S = 4 k T c (Callen and Welton, Phys. Rev. 83 (1951) 34, classical
    // limit) the variance of the angle is k T/kappa = S/(4 c kappa).
    NightSettings settings = quiet_night(Side::kAway, 60000);
    settings.balance.free_period_s = 20;
    settings.balance.amplitude_decay_time_s = 60;
    settings.swing.first_amplitude_mm = 0;
    settings.swing.torque_noise_n_m_per_root_hz = 1e-9;
    const BalancePhysics physics(settings.balance);
    const double expected =
        1e-18 / (4 * physics.damping_n_m_s() * physics.wire_constant_n_m_per_rad());
    double sum = 0;
    const auto states = simulate_swing(settings);
    for (const SwingState& state : states) sum += state.theta_rad * state.theta_rad;
    // 60000 s hold 1000 independent stretches (the energy forgets in 30 s): 1 sd is about 4 %.
    CHECK(sum / static_cast<double>(states.size()) == within_rel(expected, 0.15));
  }

  TEST_CASE("a boom that would touch a source is refused") {
    NightSettings settings;
    settings.swing.first_amplitude_mm = 900;
    CHECK_THROWS_AS(static_cast<void>(simulate_swing(settings)), SettingsError);
  }
}

}  // namespace
}  // namespace nightswing::demo
