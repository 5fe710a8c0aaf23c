#pragma once

#include <Eigen/Core>

namespace nightswing::tracker {

/// How much the counts of a pixel scatter, as a function of the light S that the spot throws on it:
/// variance = background + shot S + speckle S^2. The last term is the laser's own grain, which is
/// proportional to the light; without it the weights, and with them the result, lose a factor of
/// two to three on a speckled spot.
struct SpotNoise {
  double background = 1.0;  ///< counts^2
  double shot = 0.0;        ///< counts
  double speckle = 0.0;     ///< square of the contrast
};

inline constexpr double kRounding = 1.0 / 12.0;  ///< variance of a value rounded to whole counts

/// Variance in every pixel; `light` is the spot's light (negative values count as 0).
[[nodiscard]] Eigen::ArrayXXd variance_of(const SpotNoise& noise, const Eigen::ArrayXXd& light);

/// Estimates the three terms, none of them negative, from the squares of the residuals of a fit:
/// least squares of `squares` on 1, S, S^2 with the weights that normal noise of the given variance
/// calls for, i.e. one step of the method of scoring for the maximum of the likelihood.
/// squares   residuals^2, already corrected for what the fit absorbs
/// certainty 1 / variance, the best guess so far; a square beyond 16 variances counts as 16 (a
/// speck
///           of dust, a mark)
/// counted   1 for the pixels to use, 0 for the others
/// rounding  variance of rounding to whole counts, below which the background does not fall
[[nodiscard]] SpotNoise estimate_noise(const Eigen::ArrayXXd& squares,
                                       const Eigen::ArrayXXd& light,
                                       const Eigen::ArrayXXd& certainty,
                                       const Eigen::ArrayXXd& counted,
                                       double rounding = kRounding);

/// Correlation of neighbouring residuals, along x and along y; 0 <= each < 1.
struct ResidualCorrelation {
  double x = 0.0;
  double y = 0.0;
};

[[nodiscard]] inline bool is_white(const ResidualCorrelation& correlation) {
  return correlation.x <= 0.0 && correlation.y <= 0.0;
}

/// Correlation at lag 1 of residuals in units of their standard deviation, with the weight of a
/// pair from its two pixels. What is not significant (below 1.5 standard errors) is returned as 0.
[[nodiscard]] ResidualCorrelation correlation_of(const Eigen::ArrayXXd& residuals,
                                                 const Eigen::ArrayXXd& weight);

/// Variance of sum(influence * noise) for noise of unit variance whose correlation falls off in a
/// straight line along x and along y, 1 - |d| (1 - correlation at lag 1) down to 0: that of means
/// over neighbouring pixels, as a camera makes them of the colours of its sensor and against noise.
[[nodiscard]] double variance_of_sum(const Eigen::ArrayXXd& influence,
                                     const ResidualCorrelation& correlation);

}  // namespace nightswing::tracker
