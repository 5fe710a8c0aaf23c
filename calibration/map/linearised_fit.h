#pragma once

#include <optional>
#include <vector>

#include <ceres/problem.h>
#include <Eigen/Core>

namespace nightswing::calibration {

/// A least-squares problem where its unknowns stand, both with the weights of the loss.
struct LinearisedFit {
  Eigen::VectorXd residuals;  ///< in the order in which they were added
  Eigen::MatrixXd jacobian;   ///< d(residuals) / d(unknowns)
};

/// unknowns  the parameter blocks that the columns belong to, in their order
/// returns   none if Ceres cannot evaluate the problem there.
[[nodiscard]] std::optional<LinearisedFit> linearised(ceres::Problem& problem,
                                                      const std::vector<double*>& unknowns);

}  // namespace nightswing::calibration
