#include "analysis/night/wide_swing.h"

#include <cmath>
#include <numbers>

#include <Eigen/Cholesky>
#include <Eigen/Core>

#include "analysis/apparatus/source_places.h"
#include "analysis/balance/torque_model.h"

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

WideSwing::WideSwing(std::span<const SwingSample> segment,
                     double period_s,
                     double damping_per_s,
                     const PullCurvature& curvature) {
  if (segment.size() < kFewestSamples) return;
  start_s_ = segment.front().t_s;
  omega_ = 2.0 * std::numbers::pi / period_s;
  damping_per_s_ = damping_per_s;
  curvature_ = curvature;
  const Harmonic harmonic = harmonic_of(segment, omega_, damping_per_s);
  amplitude_mm_ = harmonic.amplitude_mm;
  phase_rad_ = harmonic.phase_rad;
}

double WideSwing::departure_mm(double t_s) const {
  const auto [b2, b3] = curvature_;
  const double since_s = t_s - start_s_;
  const double a = amplitude_mm_ * std::exp(-damping_per_s_ * since_s);
  const double phi = omega_ * since_s + phase_rad_;
  // (1 - exp(-2 gamma t))/(2 gamma), which is t without damping
  const double weighted_s =
      damping_per_s_ == 0.0 ? since_s
                            : -std::expm1(-2.0 * damping_per_s_ * since_s) / (2.0 * damping_per_s_);
  const double psi =
      omega_ * (3.0 * b3 / 8.0 - 5.0 * b2 * b2 / 12.0) * amplitude_mm_ * amplitude_mm_ * weighted_s;
  return a * (std::cos(phi + psi) - std::cos(phi)) - b2 * a * a / 2.0 +
         b2 * a * a / 6.0 * std::cos(2.0 * phi) +
         (b2 * b2 / 48.0 + b3 / 32.0) * a * a * a * std::cos(3.0 * phi);
}

double WideSwing::departure_mm_per_s(double t_s) const {
  constexpr double kStep_s = 0.5;  // a thousandth of a period
  return (departure_mm(t_s + kStep_s) - departure_mm(t_s - kStep_s)) / (2.0 * kStep_s);
}

}  // namespace nightswing::analysis
