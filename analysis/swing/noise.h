#pragma once

#include <span>

#include <Eigen/Core>

namespace nightswing::analysis {

/// Covariance of least-squares parameters, p x p, under two beliefs about the residuals.
struct ParameterCovariance {
  Eigen::MatrixXd correlated;   ///< allows for residuals that are alike over a window
  Eigen::MatrixXd independent;  ///< takes each residual for a reading of its own
};

/// Covariance of least-squares parameters when the residuals are not independent of each other.
///   C = (J^T J)^-1 (sum over pairs i, j of k(t_i - t_j) J_i^T r_i r_j J_j) (J^T J)^-1,
/// with the triangular weight k falling to 0 at `window_s`. The sums are formed over bins of
/// window/40, so that the cost does not grow with the square of the samples.
///   jacobian     n x p, rows divided by the samples' standard uncertainties, like the residuals
///   residuals    n;  times_s n, increasing
///   window_s     how long residuals may remember each other; one period of the swing here
///   returns      no variance in `correlated` is smaller than in `independent`; both are scaled by
///                the scatter of the residuals, n/(n - p) for the degrees of freedom included
///   throws       std::invalid_argument if sizes do not match or n <= p
///   limits       a residual that stays alike for longer than the window (a wandering torque) is
///                underrated, and with few windows in the record so is everything
///   source       Newey and West, Econometrica 55, 703 (1987)
[[nodiscard]] ParameterCovariance parameter_covariance(const Eigen::MatrixXd& jacobian,
                                                       const Eigen::VectorXd& residuals,
                                                       std::span<const double> times_s,
                                                       double window_s);

}  // namespace nightswing::analysis
