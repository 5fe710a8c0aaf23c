#include "tracker/spot/spot_noise.h"

#include <algorithm>
#include <cmath>
#include <random>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing;
using test::within_abs;
using test::within_rel;
using tracker::correlation_of;
using tracker::estimate_noise;
using tracker::ResidualCorrelation;
using tracker::SpotNoise;
using tracker::variance_of;
using tracker::variance_of_sum;

namespace {

/// Light of a round spot of this peak, from next to nothing to the peak.
Eigen::ArrayXXd round_light(int side, double peak) {
  Eigen::ArrayXXd light(side, side);
  for (int j = 0; j < side; ++j) {
    for (int i = 0; i < side; ++i) {
      const double dx = (i - 0.5 * side) / (0.2 * side);
      const double dy = (j - 0.5 * side) / (0.2 * side);
      light(i, j) = peak * std::exp(-0.5 * (dx * dx + dy * dy));
    }
  }
  return light;
}

Eigen::ArrayXXd normal_numbers(int columns, int rows, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  Eigen::ArrayXXd numbers(columns, rows);
  for (int j = 0; j < rows; ++j) {
    for (int i = 0; i < columns; ++i) numbers(i, j) = normal(random);
  }
  return numbers;
}

Eigen::ArrayXXd all(int columns, int rows, double value) {
  return Eigen::ArrayXXd::Constant(columns, rows, value);
}

/// In a straight line from 1 through the correlation at lag 1; at no lag without one.
double fallen(double at_lag_one, Eigen::Index lag) {
  if (lag == 0) return 1.0;
  return at_lag_one > 0 ? std::max(1.0 - static_cast<double>(lag) * (1.0 - at_lag_one), 0.0) : 0.0;
}

/// The definition, pair by pair.
double slow_variance_of_sum(const Eigen::ArrayXXd& influence, ResidualCorrelation correlation) {
  double sum = 0.0;
  for (Eigen::Index a = 0; a < influence.size(); ++a) {
    for (Eigen::Index b = 0; b < influence.size(); ++b) {
      const auto dx = std::abs(a % influence.rows() - b % influence.rows());
      const auto dy = std::abs(a / influence.rows() - b / influence.rows());
      sum += influence(a) * influence(b) * fallen(correlation.x, dx) * fallen(correlation.y, dy);
    }
  }
  return sum;
}

}  // namespace

TEST_SUITE("spot_noise") {
  TEST_CASE("the variance is a polynomial of the light, and less than no light is none") {
    Eigen::ArrayXXd light(3, 1);
    light << -5.0, 0.0, 10.0;
    const Eigen::ArrayXXd variance =
        variance_of({.background = 2.0, .shot = 0.3, .speckle = 0.05}, light);
    CHECK(variance(0, 0) == 2.0);
    CHECK(variance(1, 0) == 2.0);
    CHECK(variance(2, 0) == within_rel(2.0 + 3.0 + 5.0, 1e-15));
  }

  TEST_CASE("squares that follow the law exactly give its terms back, whatever the weights") {
    const Eigen::ArrayXXd light = round_light(31, 120.0);
    const SpotNoise truth{.background = 1.7, .shot = 0.08, .speckle = 0.0009};
    const Eigen::ArrayXXd squares = variance_of(truth, light);
    for (const double exponent : {0.0, 1.0}) {
      const SpotNoise found =
          estimate_noise(squares, light, 0.2 * squares.pow(-exponent), all(31, 31, 1.0));
      // Three unknowns whose columns are alike to some 99 %: 4 digits of 16 are lost.
      CHECK(found.background == within_rel(truth.background, 1e-10));
      CHECK(found.shot == within_rel(truth.shot, 1e-10));
      CHECK(found.speckle == within_rel(truth.speckle, 1e-10));
    }
  }

  TEST_CASE("normal residuals give back the variance that they were drawn with") {
    const Eigen::ArrayXXd light = round_light(150, 100.0);
    const SpotNoise truth{.background = 2.0, .shot = 0.1, .speckle = 0.002};
    const Eigen::ArrayXXd variance = variance_of(truth, light);
    const Eigen::ArrayXXd squares = variance * normal_numbers(150, 150, 5).square();
    const SpotNoise found = estimate_noise(squares, light, 1.0 / variance, all(150, 150, 1.0));
    // A square scatters by sqrt(2) of its mean. Most of the 22 500 pixels are dark, so that the
    // background is known to about sqrt(2 / 15 000) = 1.2 %; the peak has some 500 pixels of nearly
    // the full light: sqrt(2 / 500) = 6 %. Three standard deviations of each.
    CHECK(found.background == within_rel(truth.background, 0.04));
    CHECK(variance_of(found, light).maxCoeff() == within_rel(variance.maxCoeff(), 0.2));
  }

  TEST_CASE("without light the background is the mean square") {
    Eigen::ArrayXXd squares(2, 2);
    squares << 1.0, 2.0, 3.0, 6.0;
    const SpotNoise noise = estimate_noise(squares, all(2, 2, 0.0), all(2, 2, 0.3), all(2, 2, 1.0));
    CHECK(noise.background == within_rel(3.0, 1e-12));
    CHECK(noise.shot == 0.0);
    CHECK(noise.speckle == 0.0);
  }

  TEST_CASE("noise that falls with the light counts as noise that does not depend on it") {
    const Eigen::ArrayXXd light = round_light(21, 50.0);
    const Eigen::ArrayXXd squares = 9.0 - 0.1 * light;
    const SpotNoise noise = estimate_noise(squares, light, all(21, 21, 0.1), all(21, 21, 1.0));
    CHECK(noise.shot == 0.0);
    CHECK(noise.speckle == 0.0);
    CHECK(noise.background == within_rel(squares.mean(), 1e-12));
  }

  TEST_CASE("a speck of dust counts as 16 variances, and a pixel not counted as nothing") {
    Eigen::ArrayXXd squares = all(5, 2, 1.0);
    squares(2, 1) = 1e6;
    Eigen::ArrayXXd counted = all(5, 2, 1.0);
    const SpotNoise noise = estimate_noise(squares, all(5, 2, 0.0), all(5, 2, 1.0), counted);
    CHECK(noise.background == within_rel((9.0 + 16.0) / 10.0, 1e-12));
    counted(2, 1) = 0.0;
    const SpotNoise without = estimate_noise(squares, all(5, 2, 0.0), all(5, 2, 1.0), counted);
    CHECK(without.background == within_rel(1.0, 1e-12));
  }

  TEST_CASE("a background without scatter still has the rounding to whole counts") {
    // A value rounded to whole counts has the variance 1/12 (JCGM 100:2008, 4.3.7).
    const SpotNoise noise =
        estimate_noise(all(4, 4, 0.0), all(4, 4, 0.0), all(4, 4, 1.0), all(4, 4, 1.0));
    CHECK(noise.background == within_rel(1.0 / 12.0, 1e-15));
  }

  TEST_CASE("neighbours along one direction only are correlated in that direction only") {
    // Autoregressive along x: correlation 0.6 at a distance of one, by construction.
    constexpr double kCorrelation = 0.6;
    Eigen::ArrayXXd residuals = normal_numbers(200, 200, 6);
    const double rest = std::sqrt(1.0 - kCorrelation * kCorrelation);
    for (Eigen::Index i = 1; i < residuals.rows(); ++i) {
      residuals.row(i) = kCorrelation * residuals.row(i - 1) + rest * residuals.row(i);
    }
    const ResidualCorrelation found = correlation_of(residuals, all(200, 200, 1.0));
    // 40 000 pairs: a correlation is known to about 1 / sqrt(40 000) = 0.005; four times that.
    // Along y the other direction makes the pairs dependent and the scatter 1.5 times as wide.
    CHECK(found.x == within_abs(kCorrelation, 0.02));
    CHECK(found.y == within_abs(0.0, 0.03));
    const ResidualCorrelation turned = correlation_of(residuals.transpose(), all(200, 200, 1.0));
    CHECK(turned.x == within_abs(found.y, 1e-12));  // sums in another order
    CHECK(turned.y == within_abs(found.x, 1e-12));
  }

  TEST_CASE("a correlation that is not significant, or negative, is none") {
    Eigen::ArrayXXd pairs(200, 200);  // + + - - along x: as many equal neighbours as unequal ones
    Eigen::ArrayXXd board(200, 200);
    for (int j = 0; j < 200; ++j) {
      for (int i = 0; i < 200; ++i) {
        pairs(i, j) = i % 4 < 2 ? 1.0 : -1.0;
        board(i, j) = (i + j) % 2 == 0 ? 1.0 : -1.0;
      }
    }
    CHECK(correlation_of(pairs, all(200, 200, 1.0)).x == 0.0);
    CHECK(correlation_of(board, all(200, 200, 1.0)).x == 0.0);
    CHECK(correlation_of(board, all(200, 200, 1.0)).y == 0.0);
  }

  TEST_CASE("residuals that are all alike stay below a correlation of one") {
    const ResidualCorrelation found = correlation_of(all(30, 30, 2.0), all(30, 30, 1.0));
    CHECK(found.x < 1.0);
    CHECK(found.y < 1.0);
    CHECK(found.x > 0.9);
    CHECK(found.y > 0.9);
  }

  TEST_CASE("pixels of no weight and patches without neighbours tell no correlation") {
    Eigen::ArrayXXd residuals(40, 40);
    for (int j = 0; j < 40; ++j) {
      for (int i = 0; i < 40; ++i) residuals(i, j) = (i + j) % 2 == 0 ? 1.0 : -1.0;
    }
    Eigen::ArrayXXd weight = all(40, 40, 1.0);
    residuals.block(0, 0, 20, 20).setConstant(100.0);
    weight.block(0, 0, 20, 20).setZero();
    CHECK(correlation_of(residuals, weight).x == 0.0);
    CHECK(correlation_of(residuals, all(40, 40, 0.0)).x == 0.0);
    CHECK(correlation_of(all(1, 9, 1.0), all(1, 9, 1.0)).y == 0.0);
  }

  TEST_CASE("the variance of a sum is the double sum over all pairs of pixels") {
    const Eigen::ArrayXXd influence = normal_numbers(9, 7, 7);
    for (const ResidualCorrelation correlation : {ResidualCorrelation{0.0, 0.0},
                                                  ResidualCorrelation{0.7, 0.0},
                                                  ResidualCorrelation{0.0, 0.4},
                                                  ResidualCorrelation{0.5, 0.9}}) {
      CAPTURE(correlation.x);
      CAPTURE(correlation.y);
      // Sums of 63 x 63 terms of about 1, rounded.
      CHECK(variance_of_sum(influence, correlation) ==
            within_abs(slow_variance_of_sum(influence, correlation), 1e-10));
    }
  }

  TEST_CASE("the sum of a row of equal weights has the variance of a sum of running means") {
    // Means over m neighbours, times the root of m, have the correlation 1 - d / m. Summed over the
    // pairs of n of them: n m - (m^2 - 1) / 3.
    constexpr int m = 5;
    constexpr int n = 50;
    constexpr double expected = n * m - (m * m - 1) / 3.0;
    constexpr double at_lag_one = 1.0 - 1.0 / m;
    CHECK(variance_of_sum(all(n, 1, 1.0), {at_lag_one, 0.0}) == within_rel(expected, 1e-12));
    CHECK(variance_of_sum(all(1, n, 1.0), {0.0, at_lag_one}) == within_rel(expected, 1e-12));
  }
}
