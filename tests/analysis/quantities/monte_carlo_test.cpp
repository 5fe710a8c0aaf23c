#include "analysis/quantities/monte_carlo.h"

#include <cmath>
#include <stdexcept>

#include <doctest/doctest.h>

#include "analysis/quantities/student_t.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

BudgetInput input(double value, double u, Distribution distribution = Distribution::kNormal) {
  return {.name = "x", .value = value, .u = u, .unit = "", .distribution = distribution};
}

double sum(const Eigen::VectorXd& x) {
  return x.sum();
}

/// Comparison of two masses, JCGM 101:2008, 9.3: a deviation in mg.
std::vector<BudgetInput> mass_inputs() {
  const auto rectangular = [](double low, double high) {
    return input(
        0.5 * (low + high), 0.5 * (high - low) / std::sqrt(3.0), Distribution::kRectangular);
  };
  return {input(100000.000, 0.050),
          input(1.234, 0.020),
          rectangular(1.10, 1.30),
          rectangular(7000.0, 9000.0),
          rectangular(7950.0, 8050.0)};
}

double mass_deviation_mg(const Eigen::VectorXd& x) {
  return (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 1e5;
}

}  // namespace

TEST_SUITE("monte_carlo") {
  TEST_CASE("four normal inputs add up: JCGM 101:2008, 9.2.2") {
    const auto result = monte_carlo(std::vector<BudgetInput>(4, input(0.0, 1.0)), sum);
    CHECK(result.converged);
    CHECK(result.trials >= 100000);
    // Printed: u = 2.00, interval -+3.92. Converged to half a unit of the second digit of u: 0.05.
    CHECK(result.mean == within_abs(0.0, 0.05));
    CHECK(result.u == within_abs(2.00, 0.05));
    CHECK(result.symmetric.low == within_abs(-3.92, 0.05));
    CHECK(result.symmetric.high == within_abs(3.92, 0.05));
    // The shortest interval wanders along a flat top: its length is as good, its place is not.
    CHECK(result.shortest.length() == within_abs(7.84, 0.08));
  }

  TEST_CASE("four rectangular inputs have shorter tails: JCGM 101:2008, 9.2.3") {
    const auto result =
        monte_carlo(std::vector<BudgetInput>(4, input(0.0, 1.0, Distribution::kRectangular)), sum);
    // Exact -+3.88 (printed there), -+3.92 by the law of propagation: 0.02 of scatter must tell
    // them apart.
    const MonteCarloOptions many{.least_trials = 1000000, .most_trials = 1000000};
    const auto exact = monte_carlo(
        std::vector<BudgetInput>(4, input(0.0, 1.0, Distribution::kRectangular)), sum, {}, many);
    CHECK(exact.symmetric.high == within_abs(3.88, 0.015));
    CHECK(exact.symmetric.low == within_abs(-3.88, 0.015));
    CHECK(result.u == within_abs(2.00, 0.05));
  }

  TEST_CASE("a sensitivity that vanishes is seen: JCGM 101:2008, 9.3") {
    const auto inputs = mass_inputs();
    const auto result = monte_carlo(inputs, mass_deviation_mg);
    CHECK(result.converged);
    // Printed: 1.2341, 0.0754, shortest (1.0834, 1.3825); u to two digits: 0.0005.
    CHECK(result.mean == within_abs(1.2341, 0.001));
    CHECK(result.u == within_abs(0.0754, 0.0005));
    CHECK(result.shortest.length() == within_abs(1.3825 - 1.0834, 0.004));
    CHECK(result.shortest.low == within_abs(1.0834, 0.004));
    // First order alone: 0.0539 and (1.1284, 1.3396), printed there too.
    const auto first_order = propagate(inputs, mass_deviation_mg);
    CHECK(first_order.u == within_abs(0.0539, 0.0001));
    CHECK(first_order.value - 1.96 * first_order.u == within_abs(1.1284, 0.0002));
  }

  TEST_CASE("second-order terms of GUM H.1 appear by themselves") {
    // End-gauge calibration, JCGM 100:2008, H.1: l = l_s + d - l_s (da theta + a_s dt), in nm and
    // K. First order 32 nm, with the second-order terms 34 nm (H.1.7).
    const double l_s = 50000623.0;
    std::vector<BudgetInput> inputs{
        input(l_s, 25.0),
        input(215.0, 9.7),
        input(11.5e-6, 2e-6 / std::sqrt(3.0), Distribution::kRectangular),
        input(-0.1, 0.2),
        input(0.0, 0.5 / std::sqrt(2.0), Distribution::kArcsine),
        input(0.0, 1e-6 / std::sqrt(3.0), Distribution::kRectangular),
        input(0.0, 0.05 / std::sqrt(3.0), Distribution::kRectangular)};
    const auto length = [](const Eigen::VectorXd& x) {
      return x[0] + x[1] - x[0] * (x[5] * (x[3] + x[4]) + x[2] * x[6]);
    };
    const auto result = monte_carlo(inputs, length);
    CHECK(result.u == within_abs(34.0, 0.5));
    CHECK(propagate(inputs, length).u == within_abs(31.66, 0.05));
    CHECK(result.mean == within_abs(50000838.0, 0.5));
  }

  TEST_CASE("each distribution has the standard deviation and the limits that it is named for") {
    struct Case {
      Distribution distribution;
      double limit;
      double high_95;  // of the symmetric interval, in u: closed forms of the quantile at 0.975
    };
    const Case cases[] = {
        {Distribution::kRectangular, std::sqrt(3.0), 0.95 * std::sqrt(3.0)},
        {Distribution::kTriangular, std::sqrt(6.0), std::sqrt(6.0) * (1.0 - std::sqrt(0.05))},
        {Distribution::kArcsine, std::sqrt(2.0), std::sqrt(2.0) * std::sin(0.475 * 3.14159265)},
    };
    for (const Case& c : cases) {
      double largest = 0.0;
      const auto result = monte_carlo({input(5.0, 1.0, c.distribution)}, [&](const auto& x) {
        largest = std::max(largest, std::abs(x[0] - 5.0));
        return x[0];
      });
      CHECK(result.u == within_abs(1.0, 0.01));  // 1e5 trials: 0.3 %
      CHECK(largest <= c.limit);
      CHECK(largest > 0.97 * c.limit);
      CHECK(result.symmetric.high - 5.0 == within_abs(c.high_95, 0.02));
    }
  }

  TEST_CASE("correlated inputs are drawn together, few degrees of freedom widen the tails") {
    Eigen::Matrix2d correlation;
    correlation << 1.0, 0.8, 0.8, 1.0;
    const auto difference = [](const Eigen::VectorXd& x) { return x[0] - x[1]; };
    std::vector<BudgetInput> inputs{input(0.0, 1.0), input(0.0, 1.0)};
    // Var = 1 + 1 - 2 x 0.8
    CHECK(monte_carlo(inputs, difference, correlation).u == within_abs(std::sqrt(0.4), 0.005));
    for (BudgetInput& one : inputs) one.degrees_of_freedom = 5.0;
    const auto heavy = monte_carlo(inputs, difference, correlation);
    // t(5): the 97.5 % quantile is 2.571 (JCGM 100:2008, table G.2).
    CHECK(heavy.symmetric.high == within_abs(2.571 * std::sqrt(0.4), 0.03));
    inputs[0].distribution = Distribution::kArcsine;
    CHECK_THROWS_AS(static_cast<void>(monte_carlo(inputs, difference, correlation)),
                    std::invalid_argument);
  }

  TEST_CASE("the same inputs give the same answer") {
    const auto once = monte_carlo({input(1.0, 0.1)}, sum);
    const auto again = monte_carlo({input(1.0, 0.1)}, sum);
    CHECK(once.mean == again.mean);
    CHECK(once.shortest.low == again.shortest.low);
  }

  TEST_CASE("the shortest interval of a skewed sample lies where the sample is dense") {
    std::vector<double> sorted;
    for (int i = 0; i < 1000; ++i) sorted.push_back(-std::log(1.0 - (i + 0.5) / 1000.0));
    // Exponential distribution: the shortest interval starts at 0, 95 % end at -ln 0.05 = 2.996.
    const Interval interval = shortest_interval(sorted, 0.95);
    CHECK(interval.low == within_abs(0.0, 0.001));
    CHECK(interval.high == within_abs(2.996, 0.03));
  }
}

TEST_SUITE("student_t") {
  TEST_CASE("coverage factors are those of the table") {
    // JCGM 100:2008, table G.2
    CHECK(coverage_factor(0.99, 16.0) == within_abs(2.92, 0.005));
    CHECK(coverage_factor(0.95, 1.0) == within_abs(12.71, 0.005));
    CHECK(coverage_factor(0.95, 5.0) == within_abs(2.57, 0.005));
    CHECK(coverage_factor(0.9545, 20.0) == within_abs(2.13, 0.005));
    CHECK(coverage_factor(0.6827, 10.0) == within_abs(1.05, 0.005));
    CHECK(coverage_factor(0.95, 1e9) == within_abs(1.960, 0.0005));
  }
  TEST_CASE("one degree of freedom is the Cauchy distribution") {
    // P(t) = 1/2 + atan(t)/pi
    for (const double t : {-3.0, -0.4, 0.0, 1.0, 7.0}) {
      CHECK(student_t_probability(t, 1.0) ==
            within_abs(0.5 + std::atan(t) / 3.14159265358979, 1e-12));
    }
    CHECK_THROWS_AS(static_cast<void>(coverage_factor(1.0, 5.0)), std::invalid_argument);
    CHECK_THROWS_AS(static_cast<void>(coverage_factor(0.5, 0.0)), std::invalid_argument);
  }
}
