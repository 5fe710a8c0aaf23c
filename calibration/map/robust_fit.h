#pragma once

#include <optional>

#include <Eigen/Core>

namespace nightswing::calibration {

/// How a linear fit weighs its rows.
struct RobustWeights {
  /// Residual that halves the weight of a row; none: 1.5 times the median size of the residuals,
  /// anew in each round.
  std::optional<double> half_weight = {};
  int rounds = 8;
  Eigen::VectorXd beforehand = {};  ///< of the rows, before their residuals count; empty = all 1
};

/// The x of rows x = values in least squares that give outlying rows little weight: solved again
/// and again, each time with the Cauchy weights of the residuals r left by the last solution,
///   beforehand / (1 + (r / half_weight)^2)
/// source  iteratively reweighted least squares: P. Huber, Robust Statistics (1981), section 7.8,
///         from memory
[[nodiscard]] Eigen::VectorXd robust_solution(const Eigen::MatrixXd& rows,
                                              const Eigen::VectorXd& values,
                                              const RobustWeights& weights = {});

}  // namespace nightswing::calibration
