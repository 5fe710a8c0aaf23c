#pragma once

#include <optional>

#include "tracker/spot/spot_model.h"
#include "tracker/spot/spot_noise.h"
#include "tracker/spot/spot_patch.h"

namespace nightswing::tracker {

inline constexpr double kUsualHalo = 3.0;  ///< width over the core's

/// One shape held against the patch: residuals and weights.
struct PatchComparison {
  SpotModel model;
  Eigen::ArrayXXd residual;  ///< counts less model; 0 for a saturated pixel below the model
  Eigen::ArrayXXd weight;    ///< 1 / variance, less for outliers, 0 for a silent saturated pixel
  double cost = 0;
};

/// The spot's light as the wall throws it back.
[[nodiscard]] Eigen::ArrayXXd light_on(const SpotPatch& patch, const SpotModel& model);

/// 1 / variance of the counts: noise, and what the reflectance of a printed mark leaves open.
[[nodiscard]] Eigen::ArrayXXd certainty_on(const SpotPatch& patch,
                                           const SpotModel& model,
                                           const SpotNoise& noise);

[[nodiscard]] PatchComparison compare(const SpotPatch& patch,
                                      SpotModel model,
                                      const Eigen::ArrayXXd& certainty);

/// Inverse of the covariance of the parameters. Of a halo's width the patch may say little: its
/// logarithm is taken to be that of 3 within 0.5, as one more reading.
[[nodiscard]] ShapeMatrix information_of(const SpotModel& model, const Eigen::ArrayXXd& weight);

/// Minus half the derivatives of the cost; pull = weight * residual.
[[nodiscard]] ShapeVector gradient_of(const SpotModel& model, const Eigen::ArrayXXd& pull);

/// Levenberg-Marquardt with the certainty of the pixels held; ends when a step moves the spot by
/// less than `still_px`. Returns the comparison at the final shape, or none if the fit ran away.
[[nodiscard]] std::optional<PatchComparison> improve(const SpotPatch& patch,
                                                     const Eigen::ArrayXXd& certainty,
                                                     double still_px,
                                                     SpotModel start);

}  // namespace nightswing::tracker
