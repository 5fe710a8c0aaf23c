#include "analysis/swing/swing_recursion.h"

#include <cmath>

#include <Eigen/Cholesky>

namespace nightswing::analysis::swing_recursion {

Solved solve(const Eigen::MatrixXd& normal, double log_f, std::size_t readings) {
  Solved solved;
  const Eigen::Index p = normal.rows() - 1;
  const auto n = static_cast<double>(readings);
  const Eigen::VectorXd right = normal.col(0).tail(p);
  const Eigen::LLT<Eigen::MatrixXd> factor(normal.bottomRightCorner(p, p));
  if (factor.info() != Eigen::Success || n <= static_cast<double>(p)) return solved;
  solved.beta = factor.solve(right);
  solved.inverse = factor.solve(Eigen::MatrixXd::Identity(p, p));
  const double residual_square = normal(0, 0) - right.dot(solved.beta);
  if (!(residual_square > 0.0)) return solved;
  const double log_determinant = 2.0 * factor.matrixLLT().diagonal().array().log().sum();
  const double freedom = n - static_cast<double>(p);
  solved.variance = residual_square / freedom;
  solved.restricted = -0.5 * (freedom * std::log(solved.variance) + log_f + log_determinant);
  solved.plain = -0.5 * (n * std::log(residual_square / n) + log_f);
  solved.usable = true;
  return solved;
}

}  // namespace nightswing::analysis::swing_recursion
