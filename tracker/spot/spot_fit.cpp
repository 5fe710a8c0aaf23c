#include "tracker/spot/spot_fit.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <Eigen/Cholesky>
#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {
namespace {

constexpr double kHuber = 4.0;  // standard deviations
constexpr double kSmallestSigma_px = 0.2;
constexpr double kStill_px = 1e-3;        // a step that no longer matters beside the noise
constexpr double kNearlyStill_px = 1e-2;  // one that does not, before the weights are final
constexpr int kSmallestPatch_px = 5;
constexpr double kBroad_px = 6.0;  // sigma
constexpr int kMostTries = 40;
constexpr double kLitShare = 0.01;  // of the peak; 3 sigma from the centre
constexpr double kFirstDamping = 1e-3;
constexpr double kMostDamping = 1e9;
constexpr double kDarkDoubt = 0.1;    // share of a mark's darkness that is not known,
constexpr double kSurelyPrint = 0.3;  // if it is darker by that; of a fainter one all may be shade

/// One shape held against the patch: residuals and weights.
struct Comparison {
  SpotModel model;
  Eigen::ArrayXXd residual;  ///< counts less model; 0 for a saturated pixel below the model
  Eigen::ArrayXXd weight;    ///< 1 / variance, less for outliers, 0 for a silent saturated pixel
  double cost = 0;
};

Eigen::ArrayXXd light_on(const SpotPatch& patch, const SpotModel& model) {
  return model.spot() * patch.reflectance;
}

/// 1 / variance of the counts: noise, and what the reflectance of a printed mark leaves open.
Eigen::ArrayXXd certainty_on(const SpotPatch& patch,
                             const SpotModel& model,
                             const SpotNoise& noise) {
  const Eigen::ArrayXXd darkness = 1.0 - patch.reflectance;
  const Eigen::ArrayXXd doubt =
      darkness * (1.0 - darkness / kSurelyPrint).max(kDarkDoubt) * model.spot();
  return (variance_of(noise, light_on(patch, model)) + doubt.square()).inverse();
}

Comparison compare(const SpotPatch& patch, SpotModel model, const Eigen::ArrayXXd& certainty) {
  Comparison c{std::move(model), {}, certainty, 0};
  c.residual = patch.counts - c.model.counts();
  const Eigen::ArrayXXd speaks = 1.0 - patch.at_least * (c.residual <= 0.0).cast<double>();
  c.residual *= speaks;
  c.weight *= speaks;
  const Eigen::ArrayXXd squares = c.residual.square() * certainty;
  c.cost = squares.sum();
  if (squares.maxCoeff() <= kHuber * kHuber) return c;
  for (Eigen::Index k = 0; k < squares.size(); ++k) {
    if (squares(k) <= kHuber * kHuber) continue;
    const double size = std::sqrt(squares(k));
    c.weight(k) *= kHuber / size;
    c.cost += kHuber * (2.0 * size - kHuber) - squares(k);
  }
  return c;
}

ShapeVector vector_of(const SpotShape& s) {
  ShapeVector v;
  v << s.peak, s.x_px, s.sigma_x_px, s.y_px, s.sigma_y_px, s.level, s.slope_x, s.slope_y;
  return v;
}

SpotShape shape_of(const ShapeVector& v) {
  return {v(0), v(1), v(2), v(3), v(4), v(5), v(6), v(7)};
}

/// Keeps one step within what the linearisation can bear: one sigma of travel, a factor of 1.5 in
/// width.
ShapeVector bounded_step(ShapeVector step, const SpotShape& from) {
  const auto bound = [&step](int k, double most) { step(k) = std::clamp(step(k), -most, most); };
  bound(1, from.sigma_x_px);
  bound(2, from.sigma_x_px / 3.0);
  bound(3, from.sigma_y_px);
  bound(4, from.sigma_y_px / 3.0);
  return step;
}

bool plausible(const SpotPatch& patch, const ShapeVector& v) {
  const double widest = 2.0 * static_cast<double>(std::max(patch.columns(), patch.rows()));
  return v.allFinite() && v(2) > kSmallestSigma_px && v(4) > kSmallestSigma_px && v(2) < widest &&
         v(4) < widest && std::abs(v(1) - patch.left_px) < 2.0 * widest &&
         std::abs(v(3) - patch.top_px) < 2.0 * widest;
}

/// Levenberg-Marquardt with the certainty of the pixels held; ends when a step moves the spot by
/// less than `still_px`. Returns the comparison at the final shape, or none if the fit ran away.
std::optional<Comparison> improve(const SpotPatch& patch,
                                  const Eigen::ArrayXXd& certainty,
                                  double still_px,
                                  SpotModel start) {
  Comparison now = compare(patch, std::move(start), certainty);
  double damping = kFirstDamping;
  for (int tries = 0; tries < kMostTries && damping < kMostDamping; ++tries) {
    const SpotShape& shape = now.model.shape();
    ShapeMatrix damped = now.model.normal_matrix(now.weight);
    damped.diagonal() *= 1.0 + damping;
    damped.diagonal().array() += 1e-12 * damped.diagonal().maxCoeff();
    const ShapeVector gradient = now.model.gradient(now.weight * now.residual);
    const ShapeVector step = bounded_step(damped.ldlt().solve(gradient), shape);
    const ShapeVector next = vector_of(shape) + step;
    if (!next.allFinite()) return std::nullopt;
    if (!plausible(patch, next)) {
      damping = 10.0 * damping;
      continue;
    }
    Comparison then = compare(patch, SpotModel(patch, shape_of(next)), certainty);
    const double travel_px = step.segment<4>(1).cwiseAbs().sum();
    if (then.cost > now.cost && travel_px >= still_px) {
      damping = 10.0 * damping;
      continue;
    }
    now = std::move(then);
    if (travel_px < still_px) return now;
    damping = 0.1 * damping;
  }
  return std::nullopt;
}

/// Noise from the residuals; each square is raised by what the fit has absorbed of it. Only pixels
/// that the spot lights count: compression wipes the wall clean, but not the spot's neighbourhood.
SpotNoise noise_in(const SpotPatch& patch, const Comparison& c, const Eigen::ArrayXXd& certainty) {
  const ShapeMatrix covariance =
      c.model.normal_matrix(c.weight).ldlt().solve(ShapeMatrix::Identity());
  const Eigen::ArrayXXd absorbed =
      (c.weight * c.model.quadratic_form(covariance)).max(0.0).min(0.9);
  const Eigen::ArrayXXd& spot = c.model.spot();
  const Eigen::ArrayXXd counted =
      (1.0 - patch.at_least) * (spot > kLitShare * spot.maxCoeff()).cast<double>();
  return estimate_noise(
      c.residual.square() / (1.0 - absorbed), light_on(patch, c.model), certainty, counted);
}

cv::Mat smoothed(const Eigen::ArrayXXd& values, int half_px) {
  const cv::Mat view(static_cast<int>(values.cols()),
                     static_cast<int>(values.rows()),
                     CV_64FC1,
                     const_cast<double*>(values.data()));  // cv::Mat has no view of const data
  cv::Mat out;
  cv::blur(view, out, cv::Size(2 * half_px + 1, 2 * half_px + 1));
  return out;
}

/// Smoothing first takes away camera noise and the laser's grain, which are no misfit.
double misfit_of(const Comparison& c, const Eigen::ArrayXXd& light, const SpotShape& shape) {
  const double sigma_px = std::sqrt(shape.sigma_x_px * shape.sigma_y_px);
  const int half_px = std::max(1, static_cast<int>(std::lround(sigma_px / 3.0)));
  const cv::Mat residual = smoothed(c.residual, half_px);
  const cv::Mat explained = smoothed(light, half_px);
  const cv::Mat lit = explained > 0.1 * shape.peak;
  const double power = cv::norm(explained, cv::NORM_L2, lit);
  return power > 0 ? cv::norm(residual, cv::NORM_L2, lit) / power : 1.0;
}

/// From the median of the absolute residuals: 0.6745 standard deviations of normal noise.
double wall_scatter_of(const Comparison& c) {
  std::vector<double> sizes;
  const double least_light = kLitShare * c.model.spot().maxCoeff();
  for (Eigen::Index k = 0; k < c.residual.size(); ++k) {
    if (c.model.spot()(k) <= least_light) sizes.push_back(std::abs(c.residual(k)));
  }
  if (sizes.empty()) return 0.0;
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::nth_element(sizes.begin(), middle, sizes.end());
  return *middle / 0.6745;
}

double core_clipped_of(const SpotPatch& patch, const SpotShape& shape) {
  double pixels = 0;
  double clipped = 0;
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    const double v = (static_cast<double>(j + patch.top_px) - shape.y_px) / shape.sigma_y_px;
    for (Eigen::Index i = 0; i < patch.columns(); ++i) {
      const double u = (static_cast<double>(i + patch.left_px) - shape.x_px) / shape.sigma_x_px;
      if (u * u + v * v > 1.0) continue;
      pixels += 1.0;
      clipped += patch.at_least(i, j);
    }
  }
  return pixels > 0 ? clipped / pixels : 0.0;
}

/// Standard deviation of parameter k for noise correlated as the residuals are.
double deviation_of(const SpotModel& model,
                    const Eigen::ArrayXXd& root_weight,
                    const ShapeMatrix& covariance,
                    const ResidualCorrelation& correlation,
                    int k) {
  const Eigen::ArrayXXd influence = model.along(covariance.col(k)) * root_weight;
  return std::sqrt(variance_of_sum(influence, correlation));
}

SpotFit described(const SpotPatch& patch,
                  SpotModel model,
                  const SpotNoise& noise,
                  const Eigen::ArrayXXd& certainty) {
  const Comparison c = compare(patch, std::move(model), certainty);
  const SpotShape& shape = c.model.shape();
  const ShapeMatrix covariance =
      c.model.normal_matrix(c.weight).ldlt().solve(ShapeMatrix::Identity());
  const Eigen::ArrayXXd light = light_on(patch, c.model);
  const Eigen::ArrayXXd lit =
      (light > 0.05 * shape.peak).cast<double>() * (c.weight > 0.0).cast<double>();
  const Eigen::ArrayXXd root_weight = c.weight.sqrt();
  const Eigen::ArrayXXd scaled = c.residual * root_weight;

  SpotFit fit;
  fit.shape = shape;
  fit.noise = noise;
  fit.correlation = correlation_of(scaled, lit * light.max(0.0));
  const double freedom = std::max(lit.sum() - 5.0, 1.0);
  fit.chi_square = (lit * scaled.square()).sum() / freedom;
  const double widening = std::sqrt(std::max(fit.chi_square, 1.0));
  const auto deviation = [&](int k) {
    return widening * deviation_of(c.model, root_weight, covariance, fit.correlation, k);
  };
  fit.u_x_px = deviation(1);
  fit.u_y_px = deviation(3);
  // Correlated noise widens both alike, nearly enough to tell from white noise which is larger.
  const bool x_is_larger = std::sqrt(covariance(2, 2)) / shape.sigma_x_px >
                           std::sqrt(covariance(4, 4)) / shape.sigma_y_px;
  fit.u_log_sigma = x_is_larger ? deviation(2) / shape.sigma_x_px : deviation(4) / shape.sigma_y_px;
  fit.wall_scatter = wall_scatter_of(c);
  fit.misfit = misfit_of(c, light, shape);
  fit.core_clipped = core_clipped_of(patch, shape);
  const bool finite = covariance.allFinite() && std::isfinite(fit.u_x_px + fit.u_y_px) &&
                      std::isfinite(fit.u_log_sigma + fit.misfit);
  fit.converged = finite && fit.u_x_px > 0.0 && fit.u_y_px > 0.0;
  return fit;
}

SpotFit fit_pixels(const SpotPatch& patch, const SpotFitStart& start) {
  if (patch.columns() < kSmallestPatch_px || patch.rows() < kSmallestPatch_px) return {};
  // With its saturated pixels the peak of a clipped spot would begin far too low, and the first
  // steps would go to widening the spot and narrowing it again.
  SpotModel model(patch, lit_shape(patch, start));
  SpotNoise noise;
  Eigen::ArrayXXd certainty;
  if (start.noise) {
    certainty = certainty_on(patch, model, *start.noise);
  } else {
    // Nothing is known of the noise: equal weights, wide enough that no pixel is an outlier yet.
    const double mean_square = (patch.counts - model.counts()).square().mean();
    certainty =
        Eigen::ArrayXXd::Constant(patch.columns(), patch.rows(), 1.0 / std::max(1.0, mean_square));
  }
  const int rounds = start.noise ? 2 : 4;
  if (start.noise) noise = *start.noise;
  for (int round = 1; round <= rounds; ++round) {
    const double still_px = round < rounds ? kNearlyStill_px : kStill_px;
    std::optional<Comparison> best = improve(patch, certainty, still_px, std::move(model));
    if (!best) return {};
    // What the last frame showed serves until the place is final.
    if (!start.noise || round == rounds) noise = noise_in(patch, *best, certainty);
    certainty = certainty_on(patch, best->model, noise);
    model = std::move(best->model);
  }
  return described(patch, std::move(model), noise, certainty);
}

/// A broad spot in pixels of twice the size: nothing is lost, and the work is a quarter.
SpotFit fit_coarsely(const SpotPatch& patch, const SpotFitStart& start) {
  SpotFitStart coarse_start = start;
  coarse_start.x_px = (start.x_px - patch.left_px - 0.5) / 2.0;
  coarse_start.y_px = (start.y_px - patch.top_px - 0.5) / 2.0;
  coarse_start.sigma_x_px = start.sigma_x_px / 2.0;
  coarse_start.sigma_y_px = start.sigma_y_px / 2.0;
  SpotFit fit = fit_spot(halved(patch), coarse_start);
  fit.shape.x_px = 2.0 * fit.shape.x_px + 0.5 + patch.left_px;
  fit.shape.y_px = 2.0 * fit.shape.y_px + 0.5 + patch.top_px;
  fit.shape.sigma_x_px *= 2.0;
  fit.shape.sigma_y_px *= 2.0;
  fit.u_x_px *= 2.0;
  fit.u_y_px *= 2.0;
  fit.wall_scatter *= 2.0;
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
  const bool broad = std::min(start.sigma_x_px, start.sigma_y_px) > kBroad_px;
  return broad ? fit_coarsely(patch, start) : fit_pixels(patch, start);
}

}  // namespace nightswing::tracker
