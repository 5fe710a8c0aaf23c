#include "tracker/spot/spot_model.h"

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace nightswing::tracker {
namespace {

/// A Gaussian of unit peak averaged over a pixel, with its derivatives.
struct PixelGaussian {
  double value;
  double by_centre;
  double by_sigma;
};

/// Edges of pixels in one direction, so that each erf and exp is computed once.
class GaussianAlongPixels {
 public:
  GaussianAlongPixels(double centre_px, double sigma_px)
      : centre_px_(centre_px), sigma_px_(sigma_px), right_(edge(-0.5)) {}

  /// The pixels must be asked for in order: 0, 1, 2, ...
  PixelGaussian next() {
    const Edge left = right_;
    right_ = edge(left.from_centre_px + centre_px_ + 1.0);
    const double integral = sigma_px_ * std::sqrt(std::numbers::pi / 2.0) *
                            (right_.error_function - left.error_function);
    const double moment =
        right_.from_centre_px * right_.exponential - left.from_centre_px * left.exponential;
    return {integral, left.exponential - right_.exponential, (integral - moment) / sigma_px_};
  }

 private:
  struct Edge {
    double from_centre_px;
    double error_function;
    double exponential;
  };

  [[nodiscard]] Edge edge(double at_px) const {
    const double from_centre_px = at_px - centre_px_;
    const double t = from_centre_px / (sigma_px_ * std::numbers::sqrt2);
    return {from_centre_px, std::erf(t), std::exp(-t * t)};
  }

  double centre_px_;
  double sigma_px_;
  Edge right_;
};

/// The function of the column that the derivative by each parameter has.
constexpr std::array<int, kShapeParameters> kFunctionOf{0, 1, 2, 0, 0, 3, 4, 3};

/// Place of the product of the functions a and b among the fifteen.
constexpr int product_of(int a, int b) {
  const int least = a < b ? a : b;
  const int most = a < b ? b : a;
  return least * 5 - least * (least - 1) / 2 + most - least;
}

/// The same for the derivatives by the parameters p and q.
constexpr int product_for(int p, int q) {
  return product_of(kFunctionOf[static_cast<std::size_t>(p)],
                    kFunctionOf[static_cast<std::size_t>(q)]);
}

/// Runs from -1 to 1 over the patch.
double plane_coordinate(Eigen::Index index, Eigen::Index size) {
  const double half = 0.5 * static_cast<double>(size - 1);
  return half > 0 ? (static_cast<double>(index) - half) / half : 0.0;
}

}  // namespace

SpotModel::SpotModel(const SpotPatch& patch, const SpotShape& shape)
    : patch_(&patch),
      shape_(shape),
      functions_(patch.columns(), kFunctions),
      row_factors_(kShapeParameters, patch.rows()) {
  GaussianAlongPixels along_x(shape.x_px - patch.left_px, shape.sigma_x_px);
  for (Eigen::Index i = 0; i < patch.columns(); ++i) {
    const PixelGaussian g = along_x.next();
    functions_.row(i) << g.value, g.by_centre, g.by_sigma, 1.0,
        plane_coordinate(i, patch.columns());
  }
  GaussianAlongPixels along_y(shape.y_px - patch.top_px, shape.sigma_y_px);
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    const PixelGaussian g = along_y.next();
    const double light = shape.peak * g.value;
    row_factors_.col(j) << g.value, light, light, shape.peak * g.by_centre, shape.peak * g.by_sigma,
        1.0, 1.0, plane_coordinate(j, patch.rows());
  }
  spot_.resize(patch.columns(), patch.rows());
  counts_.resize(patch.columns(), patch.rows());
  const Eigen::ArrayXd along_plane = shape.level + shape.slope_x * functions_.col(4).array();
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    spot_.col(j) = row_factors_(1, j) * functions_.col(0).array();
    counts_.col(j) = (spot_.col(j) + along_plane + shape.slope_y * row_factors_(7, j)) *
                     patch.reflectance.col(j);
  }
}

Eigen::Matrix<double, Eigen::Dynamic, SpotModel::kProducts> SpotModel::products() const {
  Eigen::Matrix<double, Eigen::Dynamic, kProducts> products(functions_.rows(), kProducts);
  for (int a = 0; a < kFunctions; ++a) {
    for (int b = a; b < kFunctions; ++b) {
      products.col(product_of(a, b)) = functions_.col(a).cwiseProduct(functions_.col(b));
    }
  }
  return products;
}

ShapeMatrix SpotModel::normal_matrix(const Eigen::ArrayXXd& weight) const {
  const Eigen::Matrix<double, Eigen::Dynamic, kProducts> sums =
      (weight * patch_->reflectance.square()).matrix().transpose() * products();
  ShapeMatrix normal;
  for (int p = 0; p < kShapeParameters; ++p) {
    for (int q = p; q < kShapeParameters; ++q) {
      normal(p, q) = normal(q, p) =
          (row_factors_.row(p).cwiseProduct(row_factors_.row(q)) * sums.col(product_for(p, q)))
              .value();
    }
  }
  return normal;
}

ShapeVector SpotModel::gradient(const Eigen::ArrayXXd& pull) const {
  const Eigen::Matrix<double, Eigen::Dynamic, kFunctions> sums =
      (pull * patch_->reflectance).matrix().transpose() * functions_;
  ShapeVector gradient;
  for (int p = 0; p < kShapeParameters; ++p) {
    gradient(p) =
        (row_factors_.row(p) * sums.col(kFunctionOf[static_cast<std::size_t>(p)])).value();
  }
  return gradient;
}

Eigen::ArrayXXd SpotModel::along(const ShapeVector& c) const {
  Eigen::Matrix<double, kFunctions, Eigen::Dynamic> of_row =
      Eigen::Matrix<double, kFunctions, Eigen::Dynamic>::Zero(kFunctions, patch_->rows());
  for (int p = 0; p < kShapeParameters; ++p) {
    of_row.row(kFunctionOf[static_cast<std::size_t>(p)]) += c(p) * row_factors_.row(p);
  }
  return (functions_ * of_row).array() * patch_->reflectance;
}

Eigen::ArrayXXd SpotModel::quadratic_form(const ShapeMatrix& c) const {
  Eigen::Matrix<double, kProducts, Eigen::Dynamic> of_row =
      Eigen::Matrix<double, kProducts, Eigen::Dynamic>::Zero(kProducts, patch_->rows());
  for (int p = 0; p < kShapeParameters; ++p) {
    for (int q = p; q < kShapeParameters; ++q) {
      const double factor = p == q ? c(p, q) : 2.0 * c(p, q);
      of_row.row(product_for(p, q)) +=
          factor * row_factors_.row(p).cwiseProduct(row_factors_.row(q));
    }
  }
  return (products() * of_row).array() * patch_->reflectance.square();
}

}  // namespace nightswing::tracker
