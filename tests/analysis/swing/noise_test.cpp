#include "analysis/swing/noise.h"

#include <cmath>
#include <random>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <Eigen/Dense>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

struct Record {
  Eigen::MatrixXd jacobian;
  Eigen::VectorXd residuals;
  std::vector<double> times_s;
};

/// Residuals about a constant: first-order Markov noise of unit variance, correlation time tau.
Record markov_record(double tau_s, unsigned seed, int n = 4000) {
  std::mt19937 generator(seed);
  std::normal_distribution<double> noise(0.0, 1.0);
  Record record{Eigen::MatrixXd::Ones(n, 1), Eigen::VectorXd(n), {}};
  const double keep = tau_s > 0.0 ? std::exp(-5.0 / tau_s) : 0.0;
  double x = noise(generator);
  for (int i = 0; i < n; ++i) {
    record.residuals(i) = x;
    record.times_s.push_back(5.0 * i);
    x = keep * x + std::sqrt(1.0 - keep * keep) * noise(generator);
  }
  return record;
}

double mean_u(double tau_s, bool correlated) {
  double sum = 0.0;
  constexpr int kRecords = 40;
  for (unsigned seed = 0; seed < kRecords; ++seed) {
    const Record r = markov_record(tau_s, seed);
    const auto c = parameter_covariance(r.jacobian, r.residuals, r.times_s, 600.0);
    sum += correlated ? c.correlated(0, 0) : c.independent(0, 0);
  }
  return std::sqrt(sum / kRecords);
}

}  // namespace

TEST_SUITE("noise") {
  TEST_CASE("independent residuals give sigma over root n") {
    // mean of 4 000 readings; 10 % for the scatter of 40 records with a window of 120 readings and
    // for the rule that the larger of two estimates is kept
    CHECK(mean_u(0.0, false) == within_rel(1.0 / std::sqrt(4000.0), 0.02));
    CHECK(mean_u(0.0, true) == within_rel(1.0 / std::sqrt(4000.0), 0.12));
  }

  TEST_CASE("Markov residuals give the closed form of their mean") {
    // var(mean) = (1 + r)/(1 - r)/n for a first-order autoregression with coefficient r (Priestley,
    // Spectral Analysis and Time Series, 1981, section 5.3; from memory). The triangular window of
    // 600 s takes a few percent away at tau = 30 s.
    const double keep = std::exp(-5.0 / 30.0);
    const double expected = std::sqrt((1.0 + keep) / (1.0 - keep) / 4000.0);
    CHECK(mean_u(30.0, true) == within_rel(expected, 0.12));
    CHECK(mean_u(30.0, false) < 0.5 * expected);
  }

  TEST_CASE("sizes that do not match are the caller's bug") {
    const Record r = markov_record(0.0, 1, 10);
    const std::vector<double> short_times(5, 0.0);
    CHECK_THROWS_AS(
        static_cast<void>(parameter_covariance(r.jacobian, r.residuals, short_times, 600.0)),
        std::invalid_argument);
  }
}
