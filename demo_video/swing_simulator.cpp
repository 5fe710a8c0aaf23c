#include "demo_video/swing_simulator.h"

#include <cmath>
#include <numbers>
#include <random>

#include "demo_video/optical_lever.h"
#include "demo_video/random_stream.h"

namespace nightswing::demo {
namespace {

class Integrator {
 public:
  explicit Integrator(const NightSettings& settings)
      : settings_(settings), physics_(settings.balance) {}

  [[nodiscard]] SwingState first_state() const {
    const SourcePose pose = pose_at(settings_, 0);
    const double rest_rad = physics_.equilibrium_rad(pose, wire_angle_rad(settings_, 0));
    const double amplitude_rad =
        std::abs(small_rotation_rad(settings_.lever, settings_.swing.first_amplitude_mm));
    const double frequency = 2 * std::numbers::pi / physics_.period_s(rest_rad, pose);
    const double phase = settings_.swing.first_phase_deg * std::numbers::pi / 180;
    return {0,
            rest_rad + amplitude_rad * std::cos(phase),
            -amplitude_rad * frequency * std::sin(phase)};
  }

  [[nodiscard]] SwingState step(const SwingState& from, double h_s, double noise_n_m) const {
    const Slope k1 = slope(from, noise_n_m);
    const Slope k2 = slope(moved(from, k1, h_s / 2), noise_n_m);
    const Slope k3 = slope(moved(from, k2, h_s / 2), noise_n_m);
    const Slope k4 = slope(moved(from, k3, h_s), noise_n_m);
    return moved(from,
                 {(k1.theta + 2 * k2.theta + 2 * k3.theta + k4.theta) / 6,
                  (k1.rate + 2 * k2.rate + 2 * k3.rate + k4.rate) / 6},
                 h_s);
  }

  // Boom angle at which a test mass would come to touch the source beside it.
  [[nodiscard]] double touching_rad() const {
    const Balance& balance = settings_.balance;
    const double clear_m =
        balance.separation_m - (balance.source_diameter_m + balance.test_diameter_m) / 2;
    return clear_m / balance.arm_m;
  }

 private:
  struct Slope {
    double theta;
    double rate;
  };

  static SwingState moved(const SwingState& from, const Slope& slope, double h_s) {
    return {
        from.t_s + h_s, from.theta_rad + h_s * slope.theta, from.rate_rad_per_s + h_s * slope.rate};
  }

  [[nodiscard]] Slope slope(const SwingState& state, double noise_n_m) const {
    const double gravity_n_m =
        settings_.balance.big_g_m3_per_kg_s2 *
        physics_.torque_per_g(state.theta_rad, pose_at(settings_, state.t_s));
    const double wire_n_m = -physics_.wire_constant_n_m_per_rad() *
                            (state.theta_rad - wire_angle_rad(settings_, state.t_s));
    const double air_n_m = -physics_.damping_n_m_s() * state.rate_rad_per_s;
    return {state.rate_rad_per_s,
            (gravity_n_m + wire_n_m + air_n_m + noise_n_m) / physics_.inertia_kg_m2()};
  }

  const NightSettings& settings_;
  BalancePhysics physics_;
};

}  // namespace

double wire_angle_rad(const NightSettings& settings, double t_s) {
  const Swing& swing = settings.swing;
  const double creep_mm = -swing.relaxation_mm * std::expm1(-t_s / swing.relaxation_time_s);
  return small_rotation_rad(settings.lever, swing.drift_mm_per_hour * t_s / 3600 + creep_mm);
}

SourcePose pose_at(const NightSettings& settings, double t_s) {
  const auto& sides = settings.sides;
  std::size_t now = 0;
  while (now + 1 < sides.size() && t_s >= sides[now + 1].start_s) ++now;
  const SourcePose there = source_pose(settings.balance, sides[now].side);
  if (now == 0 || t_s >= sides[now].start_s + settings.swing.move_time_s) return there;
  const double share = (t_s - sides[now].start_s) / settings.swing.move_time_s;
  return pose_between(source_pose(settings.balance, sides[now - 1].side), there, share);
}

std::vector<SwingState> simulate_swing(const NightSettings& settings) {
  const Integrator integrator(settings);
  const int steps = static_cast<int>(std::ceil(settings.frame_every_s / settings.swing.step_s));
  const double h_s = settings.frame_every_s / steps;
  // White noise of one-sided density S, held over a step h, has the variance S / 2h.
  auto random = random_stream(settings.seed, Chance::kTorque);
  std::normal_distribution<double> normal;
  const double noise_n_m = settings.swing.torque_noise_n_m_per_root_hz / std::sqrt(2 * h_s);

  std::vector<SwingState> states;
  SwingState state = integrator.first_state();
  std::size_t next_move = 1;
  for (int frame = 0; frame < frame_count(settings); ++frame) {
    for (int k = 0; k < steps; ++k) {
      // From whole numbers, so that the time does not gather rounding over the night.
      state.t_s = (static_cast<double>(frame) * steps + k) * h_s;
      if (next_move < settings.sides.size() &&
          state.t_s >= settings.sides[next_move].start_s - 1e-9) {
        state.rate_rad_per_s += settings.swing.move_kick_rad_per_s;
        ++next_move;
      }
      if (k == 0) states.push_back(state);
      state = integrator.step(state, h_s, noise_n_m == 0 ? 0 : noise_n_m * normal(random));
      if (std::abs(state.theta_rad) > integrator.touching_rad()) {
        throw SettingsError(
            "at " + std::to_string(state.t_s) +
            " s a test mass touches a source; enlarge the separation or swing less");
      }
    }
  }
  return states;
}

}  // namespace nightswing::demo
