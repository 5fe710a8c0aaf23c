#include "analysis/night/wide_swing.h"

#include <cmath>
#include <numbers>
#include <span>
#include <vector>

#include <doctest/doctest.h>
#include <Eigen/QR>

#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

constexpr double kPeriod_s = 600.0;
constexpr double kDamping_per_s = 2e-4;

/// x'' = -w0^2 (x + b2 x^2 + b3 x^3) - 2 gamma x' by the classical Runge-Kutta method, 1 s a step.
std::vector<SwingSample> integrated(double start_mm, const PullCurvature& curvature) {
  const double omega = 2.0 * std::numbers::pi / kPeriod_s;
  const double omega2 = omega * omega + kDamping_per_s * kDamping_per_s;
  const auto rate = [&](double x, double v) {
    return -omega2 * x * (1.0 + x * (curvature.quadratic + x * curvature.cubic)) -
           2.0 * kDamping_per_s * v;
  };
  double x = start_mm;
  double v = 0.0;
  std::vector<SwingSample> samples;
  for (int second = 0; second < 7200; ++second) {
    if (second % 5 == 0) {
      samples.push_back({.t_s = 1.0 * second, .x_mm = 100.0 + x, .u_mm = 0.01});
    }
    const double v1 = v;
    const double a1 = rate(x, v);
    const double v2 = v + 0.5 * a1;
    const double a2 = rate(x + 0.5 * v1, v2);
    const double v3 = v + 0.5 * a2;
    const double a3 = rate(x + 0.5 * v2, v3);
    const double v4 = v + a3;
    const double a4 = rate(x + v3, v4);
    x += (v1 + 2.0 * v2 + 2.0 * v3 + v4) / 6.0;
    v += (a1 + 2.0 * a2 + 2.0 * a3 + a4) / 6.0;
  }
  return samples;
}

std::vector<double> departures_of(std::span<const SwingSample> samples,
                                  const PullCurvature& curvature) {
  const WideSwing wide(samples, kPeriod_s, kDamping_per_s, curvature);
  std::vector<double> departures_mm;
  for (const SwingSample& s : samples) departures_mm.push_back(wide.departure_mm(s.t_s));
  return departures_mm;
}

/// What a damped harmonic swing with a level and a slope leaves over, and the level at the middle.
struct HarmonicFit {
  double rms_mm;
  double middle_mm;
  double slope_mm;  ///< over the whole length
};

HarmonicFit fit_harmonic(const std::vector<SwingSample>& samples) {
  Eigen::MatrixXd terms(static_cast<Eigen::Index>(samples.size()), 4);
  Eigen::VectorXd values(terms.rows());
  const double omega = 2.0 * std::numbers::pi / kPeriod_s;
  for (Eigen::Index i = 0; i < terms.rows(); ++i) {
    const SwingSample& s = samples[static_cast<std::size_t>(i)];
    const double envelope = std::exp(-kDamping_per_s * s.t_s);
    terms.row(i) << 1.0, s.t_s / 7200.0 - 0.5, envelope * std::cos(omega * s.t_s),
        envelope * std::sin(omega * s.t_s);
    values[i] = s.x_mm;
  }
  const Eigen::VectorXd fit = terms.colPivHouseholderQr().solve(values);
  return {(values - terms * fit).norm() / std::sqrt(static_cast<double>(values.size())),
          fit[0],
          fit[1]};
}

}  // namespace

TEST_SUITE("wide_swing") {
  TEST_CASE("what is taken off an integrated swing leaves a harmonic one about the equilibrium") {
    // Of the size of a table-top balance: 90 mm, quadratic 4e-6 / mm, cubic 2e-8 / mm2.
    const PullCurvature curvature{4e-6, 2e-8};
    std::vector<SwingSample> samples = integrated(90.0, curvature);
    const HarmonicFit before = fit_harmonic(samples);
    const auto departures = departures_of(samples, curvature);
    REQUIRE(departures.size() == samples.size());
    for (std::size_t i = 0; i < samples.size(); ++i) samples[i].x_mm -= departures[i];
    const HarmonicFit after = fit_harmonic(samples);
    // -(b2/2) <A^2> is -5 um in the middle, falling from -16 to -1 um: a false slope.
    CHECK(before.middle_mm < 100.0 - 0.004);
    CHECK(before.slope_mm > 0.005);
    // Left over are the damping's share of the terms, gamma/w = 2 %, and the next order.
    CHECK(after.middle_mm == within_abs(100.0, 2e-4));
    CHECK(after.slope_mm == within_abs(0.0, 1e-3));
    CHECK(after.rms_mm < 0.05 * before.rms_mm);
  }

  TEST_CASE("a straight pull departs from nothing") {
    const auto samples = integrated(90.0, {});
    for (const double departure : departures_of(samples, {})) {
      CHECK(departure == 0.0);
    }
  }

  TEST_CASE("too few samples to tell a swing are left as they are") {
    const auto samples = integrated(90.0, {4e-6, 2e-8});
    const auto few = std::span(samples).first(5);
    CHECK(departures_of(few, {4e-6, 2e-8}) == std::vector<double>(5, 0.0));
    CHECK(WideSwing().departure_mm(100.0) == 0.0);
  }

  TEST_CASE("how fast it departs is the derivative of how far") {
    const PullCurvature curvature{4e-6, 2e-8};
    const auto samples = integrated(90.0, curvature);
    const WideSwing whole(samples, kPeriod_s, kDamping_per_s, curvature);
    // 16 um of departure change by at most as much times 3 w: 5e-4 mm/s
    const double slope = (whole.departure_mm(205.0) - whole.departure_mm(195.0)) / 10.0;
    CHECK(whole.departure_mm_per_s(200.0) == within_abs(slope, 5e-6));
    CHECK(std::abs(slope) > 5e-5);
  }

  TEST_CASE("the curvature is that of the torque itself") {
    const Apparatus balance = reference_balance();
    const GravityResult result =
        gravity(balance,
                {.x_plus_mm = 143.4, .x_minus_mm = 56.6, .period_s = 545.1, .damping_per_s = 3e-4});
    REQUIRE(result.status == GravityStatus::kComputed);
    const PullCurvature plus = pull_curvature(balance, Side::kPlus, result);
    const PullCurvature minus = pull_curvature(balance, Side::kMinus, result);
    CHECK(minus.quadratic == -plus.quadratic);
    CHECK(minus.cubic == plus.cubic);
    // The balance of torques at 10 mrad from rest, from the torque model alone: kappa (theta + d)
    // - G g(theta + d) = I w0^2 (d + b2 d^2 + b3 d^3); fourth order left out: 1e-3 of the cubic.
    const double stiffness =
        result.kappa_n_m - result.g_m3_kg_s2 * result.torque_per_g.total().slope;
    for (const double d : {-0.01, 0.01}) {
      const double torque =
          result.kappa_n_m * (result.theta_rad + d) -
          result.g_m3_kg_s2 *
              boom_torque(balance, Side::kPlus, result.theta_rad + d).total().torque;
      const double departure = torque / stiffness - d;
      CHECK(departure == within_rel(plus.quadratic * d * d + plus.cubic * d * d * d, 0.02));
    }
  }
}
