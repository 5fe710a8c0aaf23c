#include "tracker/spot/spot_fit.h"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include <Eigen/Cholesky>
#include <opencv2/core.hpp>

#include "calibration/map/median.h"
#include "tracker/spot/spot_adjustment.h"

namespace nightswing::tracker {
namespace {

constexpr double kStill_px = 1e-3;        // a step that no longer matters beside the noise
constexpr double kNearlyStill_px = 1e-2;  // one that does not, before the weights are final
constexpr int kSmallestPatch_px = 5;
constexpr double kSmoothSigma = 2.4;    // in pixels as large as a spot can bear,
constexpr double kDetailedSigma = 4.0;  // if it is clipped, or on print
constexpr double kLitShare = 0.01;      // of the peak; 3 sigma from the centre
constexpr double kShown = 4.0;          // standard deviations of slant or halo, to be fitted,
constexpr double kStillShown = 2.0;     // or to remain so
constexpr int kFormLooks = 2;
constexpr double kLeastFreedom = 0.25;  // degrees of freedom a pixel that the spot lights

ShapeMatrix inverse_of(const ShapeMatrix& information) {
  return information.ldlt().solve(ShapeMatrix::Identity(information.rows(), information.cols()));
}

/// Noise from the residuals; each square is raised by what the fit has absorbed of it. Only pixels
/// that the spot lights count: compression wipes the wall clean, but not the spot's neighbourhood.
SpotNoise noise_in(const SpotPatch& patch,
                   const PatchComparison& c,
                   const Eigen::ArrayXXd& certainty) {
  const ShapeMatrix covariance = inverse_of(information_of(c.model, c.weight));
  const Eigen::ArrayXXd absorbed =
      (c.weight * c.model.quadratic_form(covariance)).max(0.0).min(0.9);
  const Eigen::ArrayXXd& spot = c.model.spot();
  const Eigen::ArrayXXd counted =
      (1.0 - patch.at_least) * (spot > kLitShare * spot.maxCoeff()).cast<double>();
  return estimate_noise(c.residual.square() / (1.0 - absorbed),
                        light_on(patch, c.model),
                        certainty,
                        counted,
                        kRounding / (static_cast<double>(patch.merged) * patch.merged));
}

/// Smoothing first takes away camera noise and the laser's grain, which are no misfit.
double misfit_of(const PatchComparison& c, const Eigen::ArrayXXd& light, const SpotShape& shape) {
  const double sigma_px = std::sqrt(shape.sigma_x_px * shape.sigma_y_px);
  const int half_px = std::max(1, static_cast<int>(std::lround(sigma_px / 3.0)));
  const cv::Mat residual = smoothed(c.residual, half_px);
  const cv::Mat explained = smoothed(light, half_px);
  const cv::Mat lit = explained > 0.1 * shape.peak;
  const double power = cv::norm(explained, cv::NORM_L2, lit);
  return power > 0 ? cv::norm(residual, cv::NORM_L2, lit) / power : 1.0;
}

/// From the median of the absolute residuals where the spot gives no light.
double wall_scatter_of(const PatchComparison& c) {
  std::vector<double> sizes;
  sizes.reserve(static_cast<std::size_t>(c.residual.size()));
  const double least_light = kLitShare * c.model.spot().maxCoeff();
  for (Eigen::Index k = 0; k < c.residual.size(); ++k) {
    if (c.model.spot()(k) <= least_light) sizes.push_back(std::abs(c.residual(k)));
  }
  if (sizes.empty()) return 0.0;
  return calibration::scatter_of(std::move(sizes));
}

double core_clipped_of(const SpotPatch& patch, const SpotShape& shape) {
  double pixels = 0;
  double clipped = 0;
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    const double v = (static_cast<double>(j + patch.top_px) - shape.y_px) / shape.sigma_y_px;
    for (Eigen::Index i = 0; i < patch.columns(); ++i) {
      const double u = (static_cast<double>(i + patch.left_px) - shape.x_px) / shape.sigma_x_px;
      if (u * u + v * v - 2.0 * shape.slant * u * v > 1.0) continue;
      pixels += 1.0;
      clipped += patch.at_least(i, j);
    }
  }
  return pixels > 0 ? clipped / pixels : 0.0;
}

/// Variance of parameter k of a fit with weights for white noise, for noise that is correlated.
double variance_of_parameter(const SpotModel& model,
                             const Eigen::ArrayXXd& root_weight,
                             const ShapeMatrix& covariance,
                             const ResidualCorrelation& correlation,
                             int k) {
  if (is_white(correlation)) return covariance(k, k);
  return variance_of_sum(model.along(covariance.col(k)) * root_weight, correlation);
}

/// The larger of what the lit pixels say, where the laser's grain and film's coding are, and what
/// all `good` ones say, of which the fit absorbs less. White noise is widened a little by that, in
/// one picture of seven.
ResidualCorrelation noise_correlation(const Eigen::ArrayXXd& scaled,
                                      const Eigen::ArrayXXd& light,
                                      const Eigen::ArrayXXd& good) {
  const ResidualCorrelation lit = correlation_of(scaled, light);
  const ResidualCorrelation all = correlation_of(scaled, good);
  return {std::max(lit.x, all.x), std::max(lit.y, all.y)};
}

SpotFit described(const SpotPatch& patch,
                  SpotModel model,
                  const SpotNoise& noise,
                  const Eigen::ArrayXXd& certainty) {
  const PatchComparison c = compare(patch, std::move(model), certainty);
  const SpotShape& shape = c.model.shape();
  const ShapeMatrix covariance = inverse_of(information_of(c.model, c.weight));
  const Eigen::ArrayXXd light = light_on(patch, c.model);
  const Eigen::ArrayXXd lit =
      (light > 0.05 * shape.peak).cast<double>() * (c.weight > 0.0).cast<double>();
  const Eigen::ArrayXXd root_weight = c.weight.sqrt();
  const Eigen::ArrayXXd scaled = c.residual * root_weight;

  SpotFit fit;
  fit.shape = shape;
  fit.noise = noise;
  fit.correlation =
      noise_correlation(scaled, lit * light.max(0.0), (c.weight >= certainty).cast<double>());
  const auto variance = [&](int k) {
    return variance_of_parameter(c.model, root_weight, covariance, fit.correlation, k);
  };
  const double variance_x = variance(1);
  const double variance_y = variance(3);
  // White noise is absorbed by as many squares of residuals as there are parameters, of which three
  // are known from the wall around; smooth noise by so many times more as it varies them more.
  const double smoothness =
      is_white(fit.correlation)
          ? 1.0
          : 0.5 * (variance_x / covariance(1, 1) + variance_y / covariance(3, 3));
  const double absorbed = smoothness * (parameters_of(shape.form) - 3);
  // However smooth the noise is, it is not all absorbed.
  const double freedom = std::max({lit.sum() - absorbed, kLeastFreedom * lit.sum(), 1.0});
  fit.chi_square = (lit * scaled.square()).sum() / freedom;
  const double widening = std::sqrt(std::max(fit.chi_square, 1.0));
  fit.u_x_px = widening * std::sqrt(variance_x);
  fit.u_y_px = widening * std::sqrt(variance_y);
  // Correlated noise widens both alike, nearly enough to tell from white noise which is larger.
  const bool x_is_larger = std::sqrt(covariance(2, 2)) / shape.sigma_x_px >
                           std::sqrt(covariance(4, 4)) / shape.sigma_y_px;
  fit.u_log_sigma = widening * (x_is_larger ? std::sqrt(variance(2)) / shape.sigma_x_px
                                            : std::sqrt(variance(4)) / shape.sigma_y_px);
  fit.wall_scatter = wall_scatter_of(c);
  fit.misfit = misfit_of(c, light, shape);
  fit.core_clipped = core_clipped_of(patch, shape);
  const bool finite = covariance.allFinite() && std::isfinite(fit.u_x_px + fit.u_y_px) &&
                      std::isfinite(fit.u_log_sigma + fit.misfit);
  fit.converged = finite && fit.u_x_px > 0.0 && fit.u_y_px > 0.0;
  return fit;
}

/// Slant and share of the halo as one more step would have them, be they fitted or not, in their
/// standard deviations.
struct FormEvidence {
  double slant;
  double halo_share;
  double slants;  ///< slant in standard deviations
  double halos;   ///< the same of the halo's share
};

/// With equal weights, when nothing is known of the noise, each residual stands for its own
/// standard deviation (White, Econometrica 48, 817, 1980).
FormEvidence form_evidence(const SpotPatch& patch, const PatchComparison& c, bool noise_is_known) {
  SpotShape shape = c.model.shape();
  shape.form = SpotForm::kHaloed;  // what is not fitted is 0 in it
  const SpotModel model(patch, shape);
  const ShapeMatrix covariance = inverse_of(information_of(model, c.weight));
  const ShapeVector step = covariance * gradient_of(model, c.weight * c.residual);
  // Of the residuals themselves most may be the form that is not fitted yet.
  const Eigen::ArrayXXd left = c.residual - model.along(step);
  const Eigen::ArrayXXd root_weight = c.weight.sqrt();
  const ResidualCorrelation correlation =
      correlation_of(left * root_weight, light_on(patch, model).max(0.0));
  const Eigen::ArrayXXd spread = noise_is_known ? root_weight : (c.weight * left).abs();
  const auto deviation = [&](int k) {
    return std::sqrt(variance_of_sum(model.along(covariance.col(k)) * spread, correlation));
  };
  const double slant = shape.slant + step(8);
  const double halo_share = shape.halo_share + step(9);
  return {slant, halo_share, std::abs(slant) / deviation(8), halo_share / deviation(9)};
}

/// The shape in the form that the patch shows.
SpotShape in_shown_form(SpotShape shape, const FormEvidence& evidence) {
  const bool haloed = shape.form == SpotForm::kHaloed;
  const bool slanted = shape.form != SpotForm::kUpright;
  const bool halo = evidence.halos > (haloed ? kStillShown : kShown);
  const bool slant = evidence.slants > (slanted ? kStillShown : kShown);
  if (!halo && !slant) shape.slant = 0.0;
  if (!halo) {
    shape.halo_share = 0.0;
    shape.halo_width = kUsualHalo;
  }
  if (slant && !slanted) shape.slant = std::clamp(evidence.slant, -0.6, 0.6);
  if (halo && !haloed) shape.halo_share = std::clamp(evidence.halo_share, 0.01, 0.5);
  if (halo) {
    shape.form = SpotForm::kHaloed;
  } else {
    shape.form = slant ? SpotForm::kSlanted : SpotForm::kUpright;
  }
  return shape;
}

/// A fit and the noise by which its pixels are weighted.
struct Weighted {
  SpotModel model;
  SpotNoise noise;
  Eigen::ArrayXXd certainty;
};

/// Iterates the fit with the noise that its residuals show. If `noise_is_known` what the last frame
/// showed serves until the place is final.
std::optional<Weighted> fit_weighted(const SpotPatch& patch, Weighted fit, bool noise_is_known) {
  const int rounds = noise_is_known ? 2 : 4;
  for (int round = 1; round <= rounds; ++round) {
    const double still_px = round < rounds ? kNearlyStill_px : kStill_px;
    std::optional<PatchComparison> best =
        improve(patch, fit.certainty, still_px, std::move(fit.model));
    if (!best) return std::nullopt;
    if (!noise_is_known || round == rounds) fit.noise = noise_in(patch, *best, fit.certainty);
    fit.certainty = certainty_on(patch, best->model, fit.noise);
    fit.model = std::move(best->model);
  }
  return fit;
}

Weighted first_guess(const SpotPatch& patch, const SpotFitStart& start) {
  // With its saturated pixels the peak of a clipped spot would begin far too low, and the first
  // steps would go to widening the spot and narrowing it again.
  SpotModel model(patch, lit_shape(patch, start));
  if (start.noise) {
    const Eigen::ArrayXXd certainty = certainty_on(patch, model, *start.noise);
    return {std::move(model), *start.noise, certainty};
  }
  // Nothing is known of the noise: equal weights, wide enough that no pixel is an outlier yet.
  const double mean_square = (patch.counts - model.counts()).square().mean();
  return {
      std::move(model),
      {},
      Eigen::ArrayXXd::Constant(patch.columns(), patch.rows(), 1.0 / std::max(1.0, mean_square))};
}

/// Before the misfit of a wrong form can pass for noise.
std::optional<Weighted> in_first_form(const SpotPatch& patch, Weighted guess) {
  std::optional<PatchComparison> best =
      improve(patch, guess.certainty, kNearlyStill_px, std::move(guess.model));
  if (!best) return std::nullopt;
  guess.model =
      SpotModel(patch, in_shown_form(best->model.shape(), form_evidence(patch, *best, false)));
  return guess;
}

SpotFit fit_pixels(const SpotPatch& patch, const SpotFitStart& start) {
  if (patch.columns() < kSmallestPatch_px || patch.rows() < kSmallestPatch_px) return {};
  std::optional<Weighted> guess = first_guess(patch, start);
  if (!start.noise && !start.form_is_known) guess = in_first_form(patch, std::move(*guess));
  if (!guess)
    return start.form == SpotForm::kUpright ? SpotFit{} : fit_pixels(patch, upright(start));
  const bool is_upright = guess->model.shape().form == SpotForm::kUpright;
  std::optional<Weighted> fit = fit_weighted(patch, std::move(*guess), start.noise.has_value());
  // A slant or a halo that the picture does not bear.
  if (!fit && !is_upright) return fit_pixels(patch, upright(start));
  for (int look = 0; fit && !start.form_is_known && look < kFormLooks; ++look) {
    const PatchComparison c = compare(patch, fit->model, fit->certainty);
    const SpotShape shape = in_shown_form(fit->model.shape(), form_evidence(patch, c, true));
    if (shape.form == fit->model.shape().form) break;
    Weighted next = *fit;
    next.model = SpotModel(patch, shape);
    std::optional<Weighted> other = fit_weighted(patch, std::move(next), false);
    if (!other) break;
    fit = std::move(other);
  }
  if (!fit) return {};
  return described(patch, std::move(fit->model), fit->noise, fit->certainty);
}

/// How many pixels across may be merged into one.
int mergeable(const SpotPatch& patch, const SpotFitStart& start) {
  const double smaller_px =
      std::min(start.sigma_x_px, start.sigma_y_px) / std::sqrt(1.0 + std::abs(start.slant));
  if (smaller_px < 2.0 * kSmoothSigma) return 1;
  const bool detailed = patch.at_least.maxCoeff() > 0.0 || patch.reflectance.minCoeff() < 1.0;
  return std::max(1, static_cast<int>(smaller_px / (detailed ? kDetailedSigma : kSmoothSigma)));
}

SpotNoise times(const SpotNoise& noise, double factor) {
  return {factor * noise.background, factor * noise.shot, factor * noise.speckle};
}

SpotFit fit_merged(const SpotPatch& patch, const SpotFitStart& start, int across) {
  const double size = across;
  SpotFitStart coarse = start;
  coarse.x_px = (start.x_px - patch.left_px + 0.5) / size - 0.5;
  coarse.y_px = (start.y_px - patch.top_px + 0.5) / size - 0.5;
  coarse.sigma_x_px = start.sigma_x_px / size;
  coarse.sigma_y_px = start.sigma_y_px / size;
  if (start.noise) coarse.noise = times(*start.noise, 1.0 / (size * size));
  SpotFit fit = fit_pixels(merged(patch, across), coarse);
  if (!fit.converged) return {};
  fit.shape.x_px = size * (fit.shape.x_px + 0.5) - 0.5 + patch.left_px;
  fit.shape.y_px = size * (fit.shape.y_px + 0.5) - 0.5 + patch.top_px;
  fit.shape.sigma_x_px *= size;
  fit.shape.sigma_y_px *= size;
  fit.u_x_px *= size;
  fit.u_y_px *= size;
  fit.wall_scatter *= size;
  fit.noise = times(fit.noise, size * size);
  return fit;
}

}  // namespace

SpotShape lit_shape(const SpotPatch& patch, const SpotFitStart& start) {
  SpotShape shape;
  shape.peak = 1.0;
  shape.x_px = start.x_px;
  shape.y_px = start.y_px;
  shape.sigma_x_px = start.sigma_x_px;
  shape.sigma_y_px = start.sigma_y_px;
  shape.slant = start.slant;
  shape.halo_share = start.halo_share;
  shape.halo_width = start.halo_width;
  shape.form = start.form;
  const SpotModel unit(patch, shape);
  const Eigen::ArrayXXd counted = 1.0 - patch.at_least;
  const double n = std::max(counted.sum(), 1.0);
  const Eigen::ArrayXXd deviation = counted * (unit.spot() - (counted * unit.spot()).sum() / n);
  const double spread = deviation.square().sum();
  shape.peak = spread > 0 ? std::max((deviation * patch.counts).sum() / spread, 1.0) : 1.0;
  shape.level = (counted * (patch.counts - shape.peak * unit.spot())).sum() / n;
  return shape;
}

SpotFit fit_spot(const SpotPatch& patch, const SpotFitStart& start) {
  const int across = mergeable(patch, start);
  return across > 1 ? fit_merged(patch, start, across) : fit_pixels(patch, start);
}

SpotFitStart upright(SpotFitStart start) {
  start.form = SpotForm::kUpright;
  start.slant = 0.0;
  start.halo_share = 0.0;
  start.form_is_known = true;
  return start;
}

SpotFitStart start_at(const SpotFit& fit) {
  const SpotShape& shape = fit.shape;
  return {.x_px = shape.x_px,
          .y_px = shape.y_px,
          .sigma_x_px = shape.sigma_x_px,
          .sigma_y_px = shape.sigma_y_px,
          .noise = fit.noise,
          .form = shape.form,
          .slant = shape.slant,
          .halo_share = shape.halo_share,
          .halo_width = shape.halo_width};
}

}  // namespace nightswing::tracker
