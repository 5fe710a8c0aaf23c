#include "analysis/wide_swing.h"

#include <cmath>
#include <numbers>

#include <Eigen/Cholesky>
#include <Eigen/Core>

#include "analysis/source_places.h"
#include "analysis/torque_model.h"

namespace nightswing::analysis {
namespace {

constexpr double kStep_rad = 5e-3;
constexpr std::size_t kFewestSamples = 8;

/// Amplitude and phase at the first sample of the damped harmonic swing A0 exp(-gamma t)
/// cos(w t + phase).
struct Harmonic {
  double amplitude_mm = 0.0;
  double phase_rad = 0.0;
};

Harmonic harmonic_of(std::span<const SwingSample> segment, double omega, double damping_per_s) {
  Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
  Eigen::Vector4d right = Eigen::Vector4d::Zero();
  const double start_s = segment.front().t_s;
  const double length_s = segment.back().t_s - start_s;
  for (const SwingSample& sample : segment) {
    const double t_s = sample.t_s - start_s;
    const double envelope = std::exp(-damping_per_s * t_s);
    const Eigen::Vector4d terms(
        1.0, t_s / length_s, envelope * std::cos(omega * t_s), envelope * std::sin(omega * t_s));
    normal += terms * terms.transpose();
    right += sample.x_mm * terms;
  }
  const Eigen::Vector4d fit = normal.ldlt().solve(right);
  return {std::hypot(fit[2], fit[3]), std::atan2(-fit[3], fit[2])};
}

}  // namespace

PullCurvature pull_curvature(const Apparatus& apparatus, Side side, const GravityResult& gravity) {
  const auto slope_at = [&](double theta_rad) {
    return boom_torque(apparatus, side, theta_rad).total().slope;
  };
  const double turn = turn_towards(apparatus, Side::kPlus);
  const double rest_rad = side == Side::kAway ? turn * gravity.away_rest_rad
                                              : turn_towards(apparatus, side) * gravity.theta_rad;
  const double before = slope_at(rest_rad - kStep_rad);
  const double here = slope_at(rest_rad);
  const double after = slope_at(rest_rad + kStep_rad);
  const double stiffness = gravity.kappa_n_m - gravity.g_m3_kg_s2 * here;  // I w0^2
  const double second = (after - before) / (2.0 * kStep_rad);
  const double third = (after - 2.0 * here + before) / (kStep_rad * kStep_rad);
  // Counted towards plus, whichever way that turns.
  return {.quadratic = -turn * gravity.g_m3_kg_s2 * second / (2.0 * stiffness),
          .cubic = -gravity.g_m3_kg_s2 * third / (6.0 * stiffness)};
}

std::vector<double> wide_swing_mm(std::span<const SwingSample> segment,
                                  double period_s,
                                  double damping_per_s,
                                  const PullCurvature& curvature) {
  std::vector<double> departures_mm(segment.size(), 0.0);
  if (segment.size() < kFewestSamples) return departures_mm;
  const double omega = 2.0 * std::numbers::pi / period_s;
  const Harmonic harmonic = harmonic_of(segment, omega, damping_per_s);
  const double b2 = curvature.quadratic;
  const double b3 = curvature.cubic;
  const double shift_per_mm2 = omega * (3.0 * b3 / 8.0 - 5.0 * b2 * b2 / 12.0);
  const double a0 = harmonic.amplitude_mm;
  for (std::size_t i = 0; i < segment.size(); ++i) {
    const double t_s = segment[i].t_s - segment.front().t_s;
    const double a = a0 * std::exp(-damping_per_s * t_s);
    const double phi = omega * t_s + harmonic.phase_rad;
    // (1 - exp(-2 gamma t))/(2 gamma), which is t without damping
    const double weighted_s = damping_per_s == 0.0
                                  ? t_s
                                  : -std::expm1(-2.0 * damping_per_s * t_s) / (2.0 * damping_per_s);
    const double psi = shift_per_mm2 * a0 * a0 * weighted_s;
    departures_mm[i] = a * (std::cos(phi + psi) - std::cos(phi)) - b2 * a * a / 2.0 +
                       b2 * a * a / 6.0 * std::cos(2.0 * phi) +
                       (b2 * b2 / 48.0 + b3 / 32.0) * a * a * a * std::cos(3.0 * phi);
  }
  return departures_mm;
}

}  // namespace nightswing::analysis
