#include "calibration/map/robust_fit.h"

#include <doctest/doctest.h>

#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::within_abs;

/// Rows of 1 and i, for the straight line 2 + i / 2 through all values.
struct Line {
  Eigen::MatrixXd rows;
  Eigen::VectorXd values;
};

Line line_of(Eigen::Index count) {
  Line line{Eigen::MatrixXd(count, 2), Eigen::VectorXd(count)};
  for (Eigen::Index i = 0; i < count; ++i) {
    const auto place = static_cast<double>(i);
    line.rows.row(i) << 1.0, place;
    line.values[i] = 2.0 + 0.5 * place;
  }
  return line;
}

}  // namespace

TEST_SUITE_BEGIN("robust_fit");

TEST_CASE("a quarter of wrong values does not move the line") {
  Line line = line_of(40);
  for (Eigen::Index i = 0; i < 40; i += 4) line.values[i] += 30.0;
  SUBCASE("by the median of the residuals") {
    const Eigen::VectorXd fit = robust_solution(line.rows, line.values);
    CHECK(fit[0] == within_abs(2.0, 1e-3));
    CHECK(fit[1] == within_abs(0.5, 1e-4));
  }
  // Wrong values keep (0.3 / 30)^2 = 1e-4 of their weight, which moves the line by 1e-3.
  SUBCASE("by a scale that is known") {
    const Eigen::VectorXd fit =
        robust_solution(line.rows, line.values, {.half_weight = 0.3, .rounds = 40});
    CHECK(fit[0] == within_abs(2.0, 5e-3));
    CHECK(fit[1] == within_abs(0.5, 5e-4));
  }
}

TEST_CASE("one round is least squares with the weights known beforehand") {
  const Eigen::MatrixXd rows = Eigen::MatrixXd::Ones(2, 1);
  const Eigen::Vector2d values(1.0, 5.0);
  CHECK(robust_solution(rows, values, {.half_weight = 1.0, .rounds = 1})[0] ==
        within_abs(3.0, 1e-12));
  const Eigen::Vector2d beforehand(3.0, 1.0);
  CHECK(robust_solution(
            rows, values, {.half_weight = 1.0, .rounds = 1, .beforehand = beforehand})[0] ==
        within_abs(2.0, 1e-12));
}

// Weights by the residuals 1 and 3 of the mean 2 above: 3 / (1 + 1) and 1 / (1 + 9).
TEST_CASE("a row counts half where its residual is the scale") {
  const Eigen::MatrixXd rows = Eigen::MatrixXd::Ones(2, 1);
  const Eigen::Vector2d values(1.0, 5.0);
  const Eigen::Vector2d beforehand(3.0, 1.0);
  const double fit =
      robust_solution(rows, values, {.half_weight = 1.0, .rounds = 2, .beforehand = beforehand})[0];
  CHECK(fit == within_abs((1.5 * 1.0 + 0.1 * 5.0) / 1.6, 1e-12));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
