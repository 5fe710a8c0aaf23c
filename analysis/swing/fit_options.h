#pragma once

#include <ceres/solver.h>

namespace nightswing::analysis {

/// The one set-up of Ceres for our least-squares fits: few parameters, many residuals, converged to
/// the last digits (the certified values of the NIST reference data sets are reached with it).
[[nodiscard]] inline ceres::Solver::Options fit_options() {
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_NORMAL_CHOLESKY;
  options.max_num_iterations = 200;
  options.function_tolerance = 1e-20;  // the steps in the parameters decide
  options.parameter_tolerance = 1e-12;
  options.gradient_tolerance = 1e-14;
  options.logging_type = ceres::SILENT;
  return options;
}

}  // namespace nightswing::analysis
