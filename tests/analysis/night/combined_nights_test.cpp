#include "analysis/night/combined_nights.h"

#include <cmath>
#include <random>
#include <stdexcept>
#include <string>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

namespace {

constexpr double kSumRounding = 1e-12;

BudgetRow row(const std::string& name, double value, double u, double contribution) {
  return {.input = {.name = name, .value = value, .u = u, .unit = "kg"},
          .sensitivity = contribution / u,
          .contribution = contribution,
          .share = 0.0};
}

/// A night whose own findings contribute `own`, beside a mass that contributes `mass`.
NightValue night(double g, double own, double finding, double mass, double mass_kg = 1.5) {
  return {.name = "night",
          .g = {g, std::hypot(own, mass)},
          .rows = {row("shift", finding, 0.02, own), row("source mass", mass_kg, 0.001, mass)}};
}

}  // namespace

TEST_SUITE("combined_nights") {
  TEST_CASE("independent nights give the usual weighted mean") {
    // Closed form for two values: weights as 1/u^2, 1/u^2 adding up. The logarithm of G shifts the
    // mean of values 1 % apart by some 1e-5 of it.
    const auto combined =
        combine_nights({night(6.60, 0.06, 100.1, 0.0), night(6.66, 0.03, 100.7, 0.0)});
    CHECK(combined.g.value == within_rel(0.2 * 6.60 + 0.8 * 6.66, 5e-5));
    CHECK(combined.g.u == within_rel(1.0 / std::sqrt(1 / 0.0036 + 1 / 0.0009), 0.01));
    CHECK(combined.nights[0].weight == within_abs(0.2, 0.004));
    CHECK(combined.common_u == 0.0);
    CHECK(combined.shared.empty());
    // chi2 = (difference)^2 / (sum of both variances), one degree of freedom.
    CHECK(combined.birge_ratio == within_rel(0.06 / std::hypot(0.06, 0.03), 0.01));
    CHECK(combined.birge_spread == within_rel(std::sqrt(0.5), kSumRounding));
    CHECK(combined.widened_u == within_rel(combined.g.u, kSumRounding));
  }

  TEST_CASE("what two nights share does not average out") {
    // Closed form: own parts average as 1/sqrt(4), the shared one stays.
    std::vector<NightValue> nights;
    for (int k = 0; k < 4; ++k) nights.push_back(night(6.7, 0.04, 100.0 + k, 0.05));
    const auto combined = combine_nights(nights);
    CHECK(combined.g.value == within_rel(6.7, kSumRounding));
    CHECK(combined.g.u == within_rel(std::hypot(0.02, 0.05), kSumRounding));
    CHECK(combined.common_u == within_rel(0.05, kSumRounding));
    CHECK(combined.shared == std::vector<std::string>{"source mass"});
    CHECK(combined.nights[2].own_u == within_rel(0.04, kSumRounding));
    CHECK(combined.birge_ratio == within_abs(0.0, 1e-9));
  }

  TEST_CASE("a mass that was weighed anew is another measurement") {
    const auto combined =
        combine_nights({night(6.7, 0.04, 100.0, 0.05, 1.5), night(6.7, 0.04, 101.0, 0.05, 1.501)});
    CHECK(combined.shared.empty());
    CHECK(combined.g.u == within_rel(std::hypot(0.04, 0.05) / std::sqrt(2.0), kSumRounding));
  }

  TEST_CASE("a shared doubt in percent does not pull the mean below both nights") {
    // Peelle's puzzle (1987): 1.5 and 1.0, each within 10 % of its own and 20 % in common. With the
    // covariance of the values the least-squares mean is 0.88, below both; the values' logarithms
    // have equal weights: the geometric mean, and sqrt(0.1^2 / 2 + 0.2^2) of it as uncertainty.
    const auto combined =
        combine_nights({night(1.5, 0.15, 1.0, 0.30), night(1.0, 0.10, 2.0, 0.20)});
    CHECK(combined.g.value == within_rel(std::sqrt(1.5), kSumRounding));
    CHECK(combined.g.u == within_rel(std::sqrt(1.5) * std::sqrt(0.005 + 0.04), kSumRounding));
    // The difference of the logarithms over sqrt(2) 0.1.
    CHECK(combined.birge_ratio == within_rel(std::log(1.5) / (0.1 * std::sqrt(2.0)), kSumRounding));
    CHECK(combined.nights_differ());
    CHECK(combined.widened_u > combined.g.u);
  }

  TEST_CASE("a night that a shared doubt would count against gets no weight, not a negative one") {
    // Best linear weights for own parts 0.01 and shared ones 0.02 and 0.06 would be beyond 1.
    const auto combined =
        combine_nights({night(6.7, 0.01, 100.0, 0.02), night(6.8, 0.01, 101.0, 0.06)});
    CHECK(combined.nights[0].weight == 1.0);
    CHECK(combined.nights[1].weight == 0.0);
    CHECK(combined.g.value == within_rel(6.7, kSumRounding));
  }

  TEST_CASE("over many series of nights the uncertainty and the deviations are true") {
    // 4,000 series of five nights about G = 6.6: own 1 %, shared 1.5 %. Four standard errors of a
    // standard deviation of 4,000 draws: 4 / sqrt(8,000) = 4.5 %.
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal;
    double pull2 = 0.0;
    double deviation2 = 0.0;
    double birge2 = 0.0;
    constexpr int kSeries = 4000;
    for (int k = 0; k < kSeries; ++k) {
      const double shared = 1.0 + 0.015 * normal(random);
      std::vector<NightValue> nights;
      for (int n = 0; n < 5; ++n) {
        const double g = 6.6 * shared * (1.0 + 0.01 * normal(random));
        nights.push_back(night(g, 0.01 * g, normal(random), 0.015 * g));
      }
      const auto combined = combine_nights(nights);
      pull2 += std::pow((combined.g.value - 6.6) / combined.g.u, 2) / kSeries;
      deviation2 += std::pow(combined.nights[1].deviation, 2) / kSeries;
      birge2 += std::pow(combined.birge_ratio, 2) / kSeries;
    }
    CHECK(std::sqrt(pull2) == within_abs(1.0, 0.045));
    CHECK(std::sqrt(deviation2) == within_abs(1.0, 0.045));
    CHECK(std::sqrt(birge2) == within_abs(1.0, 0.045));
  }

  TEST_CASE("one night alone, or one without G, is a caller's error") {
    CHECK_THROWS_AS(combine_nights({night(6.7, 0.1, 1.0, 0.0)}), std::invalid_argument);
    CHECK_THROWS_AS(combine_nights({night(6.7, 0.1, 1.0, 0.0), night(0.0, 0.1, 1.0, 0.0)}),
                    std::invalid_argument);
  }
}
