#pragma once

#include <vector>

#include <Eigen/Core>

/// How much the residuals of a fit scatter, point by point and marker by marker.
namespace nightswing::calibration {

/// Degrees of freedom below which a fit has absorbed all the scatter there was.
inline constexpr double kLeastFreedom = 0.5;

/// Covariance of one coordinate of the n points of a marker: widening^2 diag(u_px^2) + common_px^2.
struct ScatterComponents {
  double widening = 1.0;   ///< of the stated u_px
  double common_px = 0.0;  ///< standard deviation of what all points of a marker have in common
};

/// The residuals of one marker, whitened by the covariance supposed so far.
struct WhitenedMarker {
  Eigen::VectorXd u_px;        ///< stated, one for each of the n points
  Eigen::MatrixXd whitening;   ///< n x n: the inverse of the covariance's Cholesky factor
  Eigen::MatrixXd residuals;   ///< n x 2: x and y
  Eigen::MatrixXd jacobian_x;  ///< n x p: d(residuals) / d(unknowns)
  Eigen::MatrixXd jacobian_y;
};

/// The whitening for the covariance above. A single point has nothing in common with others.
[[nodiscard]] Eigen::MatrixXd whitening_of(const Eigen::VectorXd& u_px,
                                           const ScatterComponents& scatter);

/// One step of the estimate: sets the sums of squares of the residuals, all and those of the
/// markers' common parts, equal to what is expected of them after a fit that has absorbed its
/// share.
///   covariance  p x p, of the unknowns, under the covariance supposed so far
///   prior       p x p, the share of what is known beforehand in its inverse
/// returns  widening at least 1, because what is known of the pixels themselves is no overestimate;
///          `supposed` unchanged where there is nothing left to estimate from.
/// source   minimum norm quadratic unbiased estimation; repeated until it stands it is restricted
///          maximum likelihood (C. R. Rao, J. Multivariate Anal. 1 (1971) 257, from memory).
[[nodiscard]] ScatterComponents estimate_scatter(const std::vector<WhitenedMarker>& markers,
                                                 const Eigen::MatrixXd& covariance,
                                                 const Eigen::MatrixXd& prior,
                                                 const ScatterComponents& supposed);

}  // namespace nightswing::calibration
