#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "analysis/quantities/uncertainty_budget.h"

namespace nightswing::analysis {

struct Interval {
  double low;
  double high;
  [[nodiscard]] double length() const { return high - low; }
};

struct MonteCarloOptions {
  double coverage = 0.95;
  std::size_t least_trials = 100000;
  std::size_t most_trials = 2000000;
  std::uint64_t seed = 1;  ///< the same inputs give the same answer
};

struct MonteCarloResult {
  double mean = 0.0;
  double u = 0.0;               ///< standard deviation of the results
  Interval symmetric{0, 0};     ///< probabilistically symmetric
  Interval symmetric_68{0, 0};  ///< the same for a coverage of 68.27 %
  Interval shortest{0, 0};      ///< of all intervals of that coverage
  std::size_t trials = 0;
  bool converged = false;  ///< all of these are stable to half of the second digit of u
};

/// Propagates distributions: draws the inputs, evaluates, sorts.
///   Independent inputs by their own distribution; correlated ones jointly normal; inputs with
///   finite degrees of freedom as Student t scaled by u (JCGM 101:2008, 6.4.9), those with the same
///   degrees of freedom that are correlated with each other by one common factor (multivariate t).
///   Blocks of 10 000 trials until twice the standard deviation of the blocks' averages of mean, u
///   and interval ends is below half a unit of u's second digit, at least `least_trials`.
///   source  JCGM 101:2008, 7.2 to 7.9
///   throws  std::invalid_argument as propagate() does, and for a correlated input that is not
///           normal
[[nodiscard]] MonteCarloResult monte_carlo(
    const std::vector<BudgetInput>& inputs,
    const std::function<double(const Eigen::VectorXd&)>& function,
    const Eigen::MatrixXd& correlation = {},
    const MonteCarloOptions& options = {});

/// Shortest interval of a coverage among sorted values.
[[nodiscard]] Interval shortest_interval(const std::vector<double>& sorted, double coverage);

}  // namespace nightswing::analysis
