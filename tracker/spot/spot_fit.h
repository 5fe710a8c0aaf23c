#pragma once

#include <optional>

#include "tracker/spot/spot_model.h"
#include "tracker/spot/spot_noise.h"
#include "tracker/spot/spot_patch.h"

namespace nightswing::tracker {

/// Where a fit begins. `noise` is what the last frame showed, if there was one: it saves a round.
struct SpotFitStart {
  double x_px = 0;
  double y_px = 0;
  double sigma_x_px = 3;
  double sigma_y_px = 3;
  std::optional<SpotNoise> noise;
};

/// What a fit found. Meaningful only if `converged`. Uncertainties have k = 1.
struct SpotFit {
  bool converged = false;
  SpotShape shape;
  SpotNoise noise;
  double u_x_px = 0;
  double u_y_px = 0;
  double u_log_sigma = 0;   ///< of the logarithm of either sigma, the larger of the two
  double wall_scatter = 0;  ///< counts, residuals where the spot does not shine, marks left out
  double misfit = 0;        ///< unexplained light over explained light, both smoothed; 0 is perfect
  double chi_square = 0;    ///< per degree of freedom, over the pixels that the spot lights
  double core_clipped = 0;  ///< share of saturated pixels within one sigma of the centre
  ResidualCorrelation correlation;
};

/// A spot there: peak (at least 1 count) and level by least squares, the place and the widths held.
/// Saturated pixels, which say only "at least so bright", are left out.
[[nodiscard]] SpotShape lit_shape(const SpotPatch& patch, const SpotFitStart& start);

/// Fits a spot on a sloping background by weighted least squares (Levenberg and Marquardt).
///
/// - The Gaussian is integrated over the pixel; its axes are those of the picture. A tilted
///   elliptic spot is symmetric about its centre and is therefore not displaced by this.
/// - Weights follow SpotNoise, which is estimated from the residuals and iterated with the fit.
/// - A spot broader than 6 px (sigma) is fitted in pixels of twice the size, again and again if
/// need
///   be; the noise then reported is that of the larger pixels.
/// - A saturated pixel says only "at least": it counts while the model is below it and not at all
///   when the model is above it.
/// - Residuals beyond 4 standard deviations lose weight as 1 / |residual| (Huber), so that a
///   printed mark or a hot pixel does not drag the spot.
/// - The uncertainty is that of the weighted fit, times the root of the chi-square per degree of
///   freedom if that exceeds 1, for noise that is correlated between neighbours as the residuals
///   are (video compression does that).
///
/// A fit that runs away, has nothing to fit or meets a singular system returns converged = false.
/// source  weights and the "at least" pixels are general estimation theory (censored least
/// squares);
///         the quality reached is checked against the Cramer-Rao bound in the tests.
[[nodiscard]] SpotFit fit_spot(const SpotPatch& patch, const SpotFitStart& start);

}  // namespace nightswing::tracker
