#include "tracker/spot/spot_adjustment.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <Eigen/Cholesky>

namespace nightswing::tracker {
namespace {

constexpr double kHuber = 4.0;  // standard deviations
constexpr double kSmallestSigma_px = 0.2;
constexpr int kMostTries = 40;
constexpr double kFirstDamping = 1e-3;
constexpr double kMostDamping = 1e9;
constexpr double kDarkDoubt = 0.1;    // share of a mark's darkness that is not known,
constexpr double kSurelyPrint = 0.3;  // if it is darker by that; of a fainter one all may be shade
constexpr double kMostSlant = 0.95;
constexpr double kHaloSpread = 0.5;  // of the logarithm of a halo's width, where little is seen
constexpr double kLeastHalo = 1.3;
constexpr double kMostHalo = 10.0;

ShapeVector vector_of(const SpotShape& s) {
  ShapeVector v(kMostShapeParameters);
  v << s.peak, s.x_px, s.sigma_x_px, s.y_px, s.sigma_y_px, s.level, s.slope_x, s.slope_y, s.slant,
      s.halo_share, std::log(s.halo_width);
  v.conservativeResize(parameters_of(s.form));
  return v;
}

SpotShape shape_of(const ShapeVector& v, SpotForm form) {
  SpotShape s{.peak = v(0),
              .x_px = v(1),
              .sigma_x_px = v(2),
              .y_px = v(3),
              .sigma_y_px = v(4),
              .level = v(5),
              .slope_x = v(6),
              .slope_y = v(7),
              .form = form};
  if (form != SpotForm::kUpright) s.slant = v(8);
  if (form == SpotForm::kHaloed) {
    s.halo_share = v(9);
    s.halo_width = std::exp(v(10));
  }
  return s;
}

/// Keeps one step within what the linearisation can bear: one sigma of travel, a factor of 1.5 in
/// width.
ShapeVector bounded_step(ShapeVector step, const SpotShape& from) {
  const auto bound = [&step](int k, double most) { step(k) = std::clamp(step(k), -most, most); };
  bound(1, from.sigma_x_px);
  bound(2, from.sigma_x_px / 3.0);
  bound(3, from.sigma_y_px);
  bound(4, from.sigma_y_px / 3.0);
  if (from.form != SpotForm::kUpright) bound(8, 0.3);
  if (from.form == SpotForm::kHaloed) {
    bound(9, 0.2);
    bound(10, 0.4);
  }
  return step;
}

bool plausible(const SpotPatch& patch, const SpotShape& s) {
  const double widest = 2.0 * static_cast<double>(std::max(patch.columns(), patch.rows()));
  return s.sigma_x_px > kSmallestSigma_px && s.sigma_y_px > kSmallestSigma_px &&
         s.sigma_x_px < widest && s.sigma_y_px < widest &&
         std::abs(s.x_px - patch.left_px) < 2.0 * widest &&
         std::abs(s.y_px - patch.top_px) < 2.0 * widest && std::abs(s.slant) < kMostSlant &&
         std::abs(s.halo_share) < 1.0 && s.halo_width > kLeastHalo && s.halo_width < kMostHalo;
}

/// Log of the halo's width less the usual one, in standard deviations of what is usual.
double unusual_halo(const SpotShape& s) {
  if (s.form != SpotForm::kHaloed) return 0.0;
  return std::log(s.halo_width / kUsualHalo) / kHaloSpread;
}

}  // namespace

Eigen::ArrayXXd light_on(const SpotPatch& patch, const SpotModel& model) {
  return model.spot() * patch.reflectance;
}

Eigen::ArrayXXd certainty_on(const SpotPatch& patch,
                             const SpotModel& model,
                             const SpotNoise& noise) {
  const Eigen::ArrayXXd darkness = 1.0 - patch.reflectance;
  const Eigen::ArrayXXd doubt =
      darkness * (1.0 - darkness / kSurelyPrint).max(kDarkDoubt) * model.spot();
  return (variance_of(noise, light_on(patch, model)) + doubt.square()).inverse();
}

PatchComparison compare(const SpotPatch& patch, SpotModel model, const Eigen::ArrayXXd& certainty) {
  PatchComparison c{std::move(model), {}, certainty, 0};
  c.cost = std::pow(unusual_halo(c.model.shape()), 2);
  const Eigen::ArrayXXd& counts = c.model.counts();
  c.residual = patch.counts - counts;
  if (patch.at_least.maxCoeff() > 0.0) {
    for (Eigen::Index k = 0; k < counts.size(); ++k) {
      const double speaks = c.residual(k) <= 0.0 ? 1.0 - patch.at_least(k) : 1.0;
      c.residual(k) *= speaks;
      c.weight(k) *= speaks;
    }
  }
  const Eigen::ArrayXXd squares = c.residual.square() * certainty;
  c.cost += squares.sum();
  if (squares.maxCoeff() <= kHuber * kHuber) return c;
  for (Eigen::Index k = 0; k < counts.size(); ++k) {
    const double square = squares(k);
    if (square <= kHuber * kHuber) continue;
    const double size = std::sqrt(square);
    c.weight(k) *= kHuber / size;
    c.cost += kHuber * (2.0 * size - kHuber) - square;
  }
  return c;
}

ShapeMatrix information_of(const SpotModel& model, const Eigen::ArrayXXd& weight) {
  ShapeMatrix information = model.normal_matrix(weight);
  if (model.shape().form == SpotForm::kHaloed) {
    information(10, 10) += 1.0 / (kHaloSpread * kHaloSpread);
  }
  return information;
}

ShapeVector gradient_of(const SpotModel& model, const Eigen::ArrayXXd& pull) {
  ShapeVector gradient = model.gradient(pull);
  if (model.shape().form == SpotForm::kHaloed) {
    gradient(10) -= unusual_halo(model.shape()) / kHaloSpread;
  }
  return gradient;
}

std::optional<PatchComparison> improve(const SpotPatch& patch,
                                       const Eigen::ArrayXXd& certainty,
                                       double still_px,
                                       SpotModel start) {
  PatchComparison now = compare(patch, std::move(start), certainty);
  double damping = kFirstDamping;
  for (int tries = 0; tries < kMostTries && damping < kMostDamping; ++tries) {
    const SpotShape& shape = now.model.shape();
    ShapeMatrix damped = information_of(now.model, now.weight);
    damped.diagonal() *= 1.0 + damping;
    damped.diagonal().array() += 1e-12 * damped.diagonal().maxCoeff();
    const ShapeVector gradient = gradient_of(now.model, now.weight * now.residual);
    const ShapeVector step = bounded_step(damped.ldlt().solve(gradient), shape);
    const ShapeVector next = vector_of(shape) + step;
    if (!next.allFinite()) return std::nullopt;
    const SpotShape next_shape = shape_of(next, shape.form);
    if (!plausible(patch, next_shape)) {
      damping = 10.0 * damping;
      continue;
    }
    PatchComparison then = compare(patch, SpotModel(patch, next_shape), certainty);
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

}  // namespace nightswing::tracker
