#include "analysis/balance/gravity_monte_carlo.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Dense>

namespace nightswing::analysis {
namespace {

constexpr int kChecks = 50;
constexpr double kLargestError = 0.05;
/// Differences are taken this many u away: where most of the draws lie.
constexpr double kStepInU = 1.5;

/// ln G about the inputs' values to second order, in units of their u.
struct StandIn {
  double log_value;
  Eigen::VectorXd centre;
  Eigen::VectorXd u;
  Eigen::VectorXd slope;
  Eigen::MatrixXd curvature;

  [[nodiscard]] double operator()(const Eigen::VectorXd& values) const {
    double log_g = log_value;
    const Eigen::Index n = centre.size();
    for (Eigen::Index i = 0; i < n; ++i) {
      if (u[i] == 0.0) continue;
      const double z = (values[i] - centre[i]) / u[i];
      log_g += slope[i] * z + 0.5 * curvature(i, i) * z * z;
      for (Eigen::Index j = first_mixed; j < i && i < last_mixed; ++j) {
        if (u[j] > 0.0) log_g += curvature(i, j) * z * (values[j] - centre[j]) / u[j];
      }
    }
    return std::exp(log_g);
  }
  Eigen::Index first_mixed;
  Eigen::Index last_mixed;
};

StandIn stand_in_for(const GravityInputs& inputs) {
  const auto n = std::ssize(inputs.inputs);
  const auto first = static_cast<Eigen::Index>(inputs.first_finding);
  StandIn s{.log_value = 0.0,
            .centre = Eigen::VectorXd(n),
            .u = Eigen::VectorXd(n),
            .slope = Eigen::VectorXd::Zero(n),
            .curvature = Eigen::MatrixXd::Zero(n, n),
            .first_mixed = first,
            .last_mixed = first + 4};
  for (Eigen::Index i = 0; i < n; ++i) {
    s.centre[i] = inputs.inputs[static_cast<std::size_t>(i)].value;
    s.u[i] = inputs.inputs[static_cast<std::size_t>(i)].u;
  }
  const auto log_at = [&](Eigen::Index i, double z_i, Eigen::Index j, double z_j) {
    Eigen::VectorXd values = s.centre;
    values[i] += z_i * s.u[i];
    values[j] += z_j * s.u[j];
    return std::log(inputs.gravitational_constant(values));
  };
  s.log_value = log_at(0, 0.0, 0, 0.0);
  const double h = kStepInU;
  for (Eigen::Index i = 0; i < n; ++i) {
    if (s.u[i] == 0.0) continue;
    const double above = log_at(i, h, i, 0.0);
    const double below = log_at(i, -h, i, 0.0);
    s.slope[i] = (above - below) / (2.0 * h);
    s.curvature(i, i) = (above - 2.0 * s.log_value + below) / (h * h);
    for (Eigen::Index j = first; j < i && i < s.last_mixed; ++j) {
      if (s.u[j] == 0.0) continue;
      s.curvature(i, j) =
          (log_at(i, h, j, h) - log_at(i, h, j, -h) - log_at(i, -h, j, h) + log_at(i, -h, j, -h)) /
          (4.0 * h * h);
    }
  }
  return s;
}

/// Largest relative difference between G and its stand-in in some draws.
double error_of(const StandIn& stand_in,
                const GravityInputs& inputs,
                const MonteCarloOptions& options) {
  double largest = 0.0;
  int left = kChecks;
  MonteCarloOptions few = options;
  few.least_trials = few.most_trials = 1;  // one block
  static_cast<void>(monte_carlo(
      inputs.inputs,
      [&](const Eigen::VectorXd& values) {
        if (left > 0) {
          --left;
          const double truth = inputs.gravitational_constant(values);
          largest = std::max(largest, std::abs(stand_in(values) - truth));
        }
        return 0.0;
      },
      inputs.correlation,
      few));
  return largest;
}

}  // namespace

GravityMonteCarlo gravity_monte_carlo(const GravityInputs& inputs,
                                      const MonteCarloOptions& options) {
  GravityMonteCarlo outcome;
  const StandIn stand_in = stand_in_for(inputs);
  const double error = error_of(stand_in, inputs, options);
  outcome.result = monte_carlo(inputs.inputs, stand_in, inputs.correlation, options);
  outcome.stand_in_error = outcome.result.u > 0.0 ? error / outcome.result.u : 0.0;
  if (outcome.stand_in_error > kLargestError && inputs.cheap) {
    outcome.result =
        monte_carlo(inputs.inputs, inputs.gravitational_constant, inputs.correlation, options);
    outcome.stand_in_error = 0.0;
  }
  return outcome;
}

}  // namespace nightswing::analysis
