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
  std::optional<SpotNoise> noise = std::nullopt;
  SpotForm form = SpotForm::kUpright;  ///< with its values:
  double slant = 0;
  double halo_share = 0;
  double halo_width = 3;
  bool form_is_known = false;  ///< saves looking whether the spot shows another
};

/// What a fit found. Meaningful only if `converged`. Uncertainties have k = 1.
struct SpotFit {
  bool converged = false;
  SpotShape shape;
  SpotNoise noise;  ///< of a pixel of the patch
  double u_x_px = 0;
  double u_y_px = 0;
  double u_log_sigma = 0;   ///< of the logarithm of either sigma, the larger of the two
  double wall_scatter = 0;  ///< counts, residuals where the spot does not shine, marks left out
  double misfit = 0;        ///< unexplained light over explained light, both smoothed; 0 is perfect
  double chi_square = 0;    ///< per degree of freedom, over the pixels that the spot lights
  double core_clipped = 0;  ///< share of saturated pixels within one sigma of the centre
  ResidualCorrelation correlation;
};

/// At what was found before; nothing is known of the noise if that is left out.
[[nodiscard]] SpotFitStart start_at(const SpotFit& fit);

/// The same spot without slant and halo, which a picture may not bear or make by itself.
[[nodiscard]] SpotFitStart upright(SpotFitStart start);

/// A spot there: peak (at least 1 count) and level by least squares, the place and the widths held.
/// Saturated pixels, which say only "at least so bright", are left out.
[[nodiscard]] SpotShape lit_shape(const SpotPatch& patch, const SpotFitStart& start);

/// Fits a spot on a sloping background by weighted least squares (Levenberg and Marquardt).
///
/// - The Gaussian is integrated over the pixel; its axes are those of the picture.
/// - If it is seen to be slanted, or to have a halo, by four standard deviations, that is fitted
///   too, until it is less than two. Both are symmetric about the centre and would not displace it;
///   but what is left of them in the residuals passes for the laser's grain, which takes the weight
///   from the core and makes the uncertainty several times too large. A spot that shows neither
///   pays nothing for them.
/// - Weights follow SpotNoise, which is estimated from the residuals and iterated with the fit.
/// - A broad spot is fitted in larger pixels, which are still 2.4 times smaller than its sigma (4
///   times if part of it is saturated or on print): they lose 1.5 % of what the small ones say.
/// - A saturated pixel says only "at least": it counts while the model is below it and not at all
///   when the model is above it.
/// - Residuals beyond 4 standard deviations lose weight as 1 / |residual| (Huber), so that a
///   printed mark or a hot pixel does not drag the spot.
/// - The uncertainty is that of the weighted fit, times the root of the chi-square per degree of
///   freedom if that exceeds 1, for noise that is correlated between neighbours as the residuals
///   are (cameras and video compression smear it). Of such noise the fit absorbs more than of white
///   noise, which the degrees of freedom count.
///
/// A fit that runs away, has nothing to fit or meets a singular system returns converged = false.
/// source  weights and the "at least" pixels are general estimation theory (censored least
/// squares);
///         the quality reached is checked against the Cramer-Rao bound in the tests.
[[nodiscard]] SpotFit fit_spot(const SpotPatch& patch, const SpotFitStart& start);

}  // namespace nightswing::tracker
