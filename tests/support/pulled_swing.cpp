#include "tests/support/pulled_swing.h"

#include <cmath>
#include <numbers>
#include <random>

namespace nightswing::test {
namespace {

using analysis::Side;

constexpr double kTest_kg = 0.05;
constexpr double kTestRadius_m = 0.0101724;
constexpr double kArm_m = 0.1;
constexpr double kRod_kg = 0.008;
constexpr double kRod_m = 0.2;
constexpr double kRodWidth_m = 0.004;
constexpr double kMirror_kg_m2 = 2e-7;
constexpr int kRodPoints = 100;  // the midpoint rule is off by 1e-4 of the rod's 2.5 % then
constexpr double kStep_s = 1.0;

double inertia() {
  return 2.0 * kTest_kg * (kArm_m * kArm_m + 0.4 * kTestRadius_m * kTestRadius_m) +
         kRod_kg * (kRod_m * kRod_m / 12.0 + kRodWidth_m * kRodWidth_m / 16.0) + kMirror_kg_m2;
}

/// Moment about the wire of the pull on a point of the boom, x from the wire before it turned.
double moment(const PulledNight::Places& sources, double theta_rad, double x_m) {
  const double px = x_m * std::cos(theta_rad);
  const double py = x_m * std::sin(theta_rad);
  double sum = 0.0;
  for (const auto& [sx, sy, sz] : sources) {
    const double dx = sx - px;
    const double dy = sy - py;
    sum += (px * dy - py * dx) / std::pow(dx * dx + dy * dy + sz * sz, 1.5);
  }
  return sum;
}

double pull(const PulledNight& night, Side side, double theta_rad) {
  if (side == Side::kAway && !night.away) return 0.0;
  const auto& sources = side == Side::kPlus    ? night.plus
                        : side == Side::kMinus ? night.minus
                                               : *night.away;
  double sum =
      kTest_kg * (moment(sources, theta_rad, kArm_m) + moment(sources, theta_rad, -kArm_m));
  for (int k = 0; k < kRodPoints; ++k) {
    const double x_m = kRod_m * ((k + 0.5) / kRodPoints - 0.5);
    sum += kRod_kg / kRodPoints * moment(sources, theta_rad, x_m);
  }
  return night.big_g * night.source_kg * sum;
}

struct Motion {
  double theta_rad;
  double rate_per_s;
};

Motion step(const PulledNight& night, Side side, const Motion& from, double h_s) {
  const double omega = 2.0 * std::numbers::pi / night.free_period_s;
  const auto slope = [&](const Motion& m) {
    return Motion{m.rate_per_s,
                  pull(night, side, m.theta_rad) / inertia() -
                      omega * omega * (m.theta_rad - night.wire_rest_rad) -
                      2.0 * night.damping_per_s * m.rate_per_s};
  };
  const auto moved = [&](const Motion& by, double h) {
    return Motion{from.theta_rad + h * by.theta_rad, from.rate_per_s + h * by.rate_per_s};
  };
  const Motion k1 = slope(from);
  const Motion k2 = slope(moved(k1, h_s / 2));
  const Motion k3 = slope(moved(k2, h_s / 2));
  const Motion k4 = slope(moved(k3, h_s));
  return {from.theta_rad +
              h_s / 6 * (k1.theta_rad + 2 * k2.theta_rad + 2 * k3.theta_rad + k4.theta_rad),
          from.rate_per_s +
              h_s / 6 * (k1.rate_per_s + 2 * k2.rate_per_s + 2 * k3.rate_per_s + k4.rate_per_s)};
}

}  // namespace

double wire_rest_for_midway(const PulledNight& night) {
  const double omega = 2.0 * std::numbers::pi / night.free_period_s;
  const double kappa = inertia() * omega * omega;
  double theta_rad = 0.0;
  for (int k = 0; k < 200; ++k) {  // converges like 0.05^k
    theta_rad =
        (pull(night, Side::kPlus, theta_rad) - pull(night, Side::kMinus, -theta_rad)) / (2 * kappa);
  }
  return theta_rad - pull(night, Side::kPlus, theta_rad) / kappa;
}

std::vector<analysis::WallSample> watch_pulled(const PulledNight& night) {
  std::mt19937_64 generator(night.seed);
  std::normal_distribution<double> normal(0.0, 1.0);
  std::vector<analysis::WallSample> samples;
  Motion motion{night.wire_rest_rad + night.start_rad, 0.0};
  std::size_t now = 0;
  const auto steps = static_cast<int>(std::ceil(night.every_s / kStep_s));
  for (double i = 0.0; i * night.every_s < night.end_s; i += 1.0) {
    const double spot_mm = 1e3 * night.wall_m * std::tan(2.0 * motion.theta_rad);
    samples.push_back({.t_s = i * night.every_s,
                       .x_mm = night.foot_mm + (night.reversed ? -spot_mm : spot_mm) +
                               night.white_mm * normal(generator),
                       .y_mm = 35.0 + night.white_mm * normal(generator),
                       .u_x_mm = night.white_mm,
                       .u_y_mm = night.white_mm});
    for (int k = 0; k < steps; ++k) {
      const double t_s = (i + static_cast<double>(k) / steps) * night.every_s;
      while (now + 1 < night.sides.size() && t_s >= night.sides[now + 1].t_s) ++now;
      motion = step(night, night.sides[now].side, motion, night.every_s / steps);
    }
  }
  return samples;
}

}  // namespace nightswing::test
