#pragma once

#include <ceres/solver.h>

namespace nightswing::calibration {

/// Residual, in standard uncertainties, beyond which ticks count less than by its square (Huber).
inline constexpr double kHuberBend = 3.0;

/// The one set-up of Ceres for our least-squares fits: few parameters of order one, many residuals,
/// converged as far as rounding lets it.
///   gradient_tolerance  gradient over stiffness (the sum of the squared weights) is the distance
///                       from the minimum, so this is a length times the stiffness
[[nodiscard]] inline ceres::Solver::Options fit_options(double gradient_tolerance) {
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_QR;
  options.max_num_iterations = 200;
  options.function_tolerance = 1e-16;
  options.parameter_tolerance = 1e-14;
  options.gradient_tolerance = gradient_tolerance;
  options.logging_type = ceres::SILENT;
  return options;
}

}  // namespace nightswing::calibration
