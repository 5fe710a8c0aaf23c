#pragma once

#include <span>
#include <vector>

#include <Eigen/Core>

#include "analysis/swing/swing_filter.h"
#include "analysis/swing/swing_search.h"

namespace nightswing::analysis {

/// One belief about the noise: a model of it with its most likely parameters.
struct NoiseBelief {
  FilterTrack track;
  FilterLayout layout;
  Optimum optimum;
};

/// Rest positions, drift, start states, and the swing's own numbers, averaged over what the noise
/// could be.
struct SwingEstimate {
  bool usable = false;
  /// beta, then w [rad/s], g [1/s], and w of the away segments [rad/s] if there are any.
  Eigen::VectorXd mean;
  Eigen::MatrixXd covariance;
  double degrees_of_freedom = 0.0;  ///< of the standard uncertainty along `direction`
  std::vector<double> weights;      ///< of the beliefs; they add up to 1
};

/// At fixed noise the covariance is that of generalised least squares plus what the uncertain w and
/// g pass on (their own from the Hessian of the restricted likelihood, its effect on beta from the
/// derivative of beta). But the noise is hardly known from a short night, and the best value of a
/// component is often zero. Everything is therefore averaged over the levels of the torque noise
/// and of the slow noise and over the latter's memory, and over the beliefs, with the likelihood as
/// weight: flat in the r.m.s. values (up to one and a half times the night's whole scatter) and in
/// the memory (up to a quarter of the night). Without slow noise by a grid, with it by importance
/// sampling at fixed quasi-random points. The mean of the conditional covariances and the
/// covariance of the conditional means add up (law of total variance); the spread of the
/// conditional variance along `direction` gives the degrees of freedom, nu = 2
/// E^2(variance)/Var(variance) (JCGM 100:2008, (G.3)).
///   beliefs    on the same readings and design
///   direction  of beta: the combination that counts, such as plus minus minus
///   source     importance sampling: Kloek and van Dijk, Econometrica 46, 1 (1978) (from memory);
///              points: Halton, Numer. Math. 2, 84 (1960) (from memory)
[[nodiscard]] SwingEstimate average_over_noise(std::span<const NoiseBelief> beliefs,
                                               double scatter_mm,
                                               const Eigen::VectorXd& direction);

}  // namespace nightswing::analysis
