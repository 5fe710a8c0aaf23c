#include "tests/support/driven_swing.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

namespace nightswing::test {
namespace {

using analysis::Side;

/// Substeps of about half a second: leapfrog is off by (w dt)^2/24 = 1e-6 in frequency then.
constexpr double kSubstep_s = 0.5;

struct Motion {
  double x_mm;
  double v_mm_per_s;
};

Side side_at(const DrivenNight& night, double t_s) {
  Side side = night.sides.front().side;
  for (const analysis::SideChange& change : night.sides) {
    if (change.t_s <= t_s) side = change.side;
  }
  return side;
}

double rest_mm(const DrivenNight& night, Side side) {
  if (side == Side::kPlus) return night.plus_mm;
  return side == Side::kMinus ? night.minus_mm : night.away_mm;
}

/// x'' = -w0^2 (x - rest) - 2 g x' + noise, one leapfrog step with the damping in closed form.
void step(const DrivenNight& night, Side side, double dt_s, double push, Motion& motion) {
  const double period_s = side == Side::kAway ? night.away_period_s : night.period_s;
  const double omega = 2.0 * std::numbers::pi / period_s;
  const double g = night.damping_per_s;
  const double omega0_square = omega * omega + g * g;
  motion.x_mm += 0.5 * dt_s * motion.v_mm_per_s;
  const double decay = std::exp(-2.0 * g * dt_s);
  const double pull = -omega0_square * (motion.x_mm - rest_mm(night, side));
  motion.v_mm_per_s = decay * motion.v_mm_per_s + dt_s * std::sqrt(decay) * pull + push;
  motion.x_mm += 0.5 * dt_s * motion.v_mm_per_s;
}

}  // namespace

DrivenTrack make_driven(const DrivenNight& night) {
  std::mt19937_64 generator(night.seed);
  std::normal_distribution<double> normal(0.0, 1.0);
  std::uniform_real_distribution<double> uniform(0.0, 1.0);
  DrivenTrack track;
  for (int k = 0; k < night.kicks; ++k) {
    track.kicks_s.push_back((0.05 + 0.9 * uniform(generator)) * night.end_s);
  }
  std::ranges::sort(track.kicks_s);
  const double omega = 2.0 * std::numbers::pi / night.period_s;
  const double g = night.damping_per_s;
  // A white force of spectral density S keeps up <u^2> = S/(4 g w0^2).
  const double density = 4.0 * g * (omega * omega + g * g) * night.torque_mm * night.torque_mm;
  const auto substeps = static_cast<int>(std::ceil(night.every_s / kSubstep_s));
  const double dt_s = night.every_s / substeps;
  Motion motion{rest_mm(night, night.sides.front().side) + night.start_mm, 0.0};
  double slow = night.slow_mm * normal(generator);
  const double memory = std::exp(-night.every_s / night.slow_memory_s);
  double gap_until_s = -1.0;
  std::size_t next_kick = 0;
  for (double i = 0.0; i * night.every_s < night.end_s; i += 1.0) {
    const double t_s = i * night.every_s;
    const bool in_gap = t_s < gap_until_s;
    if (uniform(generator) < night.gap_share * night.every_s / 60.0) gap_until_s = t_s + 60.0;
    const double wrong =
        uniform(generator) < night.outlier_share ? 50.0 * (uniform(generator) - 0.5) * 2.0 : 0.0;
    const double drift = night.drift_mm_per_hour * t_s / 3600.0 +
                         night.relaxation_mm * std::exp(-t_s / night.relaxation_s);
    if (!in_gap) {
      track.samples.push_back(
          {.t_s = t_s,
           .x_mm = motion.x_mm + drift + slow + night.white_mm * (normal(generator) + wrong),
           .u_mm = night.white_mm});
    }
    slow = memory * slow + night.slow_mm * std::sqrt(1.0 - memory * memory) * normal(generator);
    for (int k = 0; k < substeps; ++k) {
      const double now_s = t_s + k * dt_s;
      if (next_kick < track.kicks_s.size() && track.kicks_s[next_kick] < now_s + dt_s) {
        motion.v_mm_per_s += (uniform(generator) < 0.5 ? -1.0 : 1.0) * night.kick_mm * omega;
        ++next_kick;
      }
      step(night,
           side_at(night, now_s),
           dt_s,
           std::sqrt(density * dt_s) * normal(generator),
           motion);
    }
  }
  return track;
}

}  // namespace nightswing::test
