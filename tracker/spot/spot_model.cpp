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
constexpr std::array<int, 8> kFunctionOf{0, 1, 2, 0, 0, 3, 4, 3};

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

constexpr double kPixelVariance = 1.0 / 12.0;  // of a place anywhere in a pixel, px^2
constexpr double kMostExponent = 500.0;        // far from the spot, where its light is nothing

/// A Gaussian of unit peak along one axis of a patch.
struct Profile {
  Eigen::ArrayXd value;
  Eigen::ArrayXd by_centre;
  Eigen::ArrayXd by_sigma;
  Eigen::ArrayXd from_centre_px;
  double sigma_px;
  double variance_px2;  ///< with that of the pixel

  Profile(Eigen::Index pixels, double centre_px, double sigma)
      : value(pixels),
        by_centre(pixels),
        by_sigma(pixels),
        from_centre_px(pixels),
        sigma_px(sigma),
        variance_px2(sigma * sigma + kPixelVariance) {
    GaussianAlongPixels along(centre_px, sigma);
    for (Eigen::Index k = 0; k < pixels; ++k) {
      const PixelGaussian g = along.next();
      value(k) = g.value;
      by_centre(k) = g.by_centre;
      by_sigma(k) = g.by_sigma;
      from_centre_px(k) = static_cast<double>(k) - centre_px;
    }
  }
};

/// A slanted Gaussian of unit peak in each pixel of a patch, and its derivatives.
struct SlantedGaussian {
  Eigen::ArrayXXd value;
  Eigen::ArrayXXd by_x;
  Eigen::ArrayXXd by_sigma_x;
  Eigen::ArrayXXd by_y;
  Eigen::ArrayXXd by_sigma_y;
  Eigen::ArrayXXd by_slant;

  /// `width` times as wide as the shape says.
  SlantedGaussian(const SpotPatch& patch, const SpotShape& shape, double width)
      : value(patch.columns(), patch.rows()),
        by_x(value),
        by_sigma_x(value),
        by_y(value),
        by_sigma_y(value),
        by_slant(value) {
    const Profile x(patch.columns(), shape.x_px - patch.left_px, width * shape.sigma_x_px);
    const Profile y(patch.rows(), shape.y_px - patch.top_px, width * shape.sigma_y_px);
    const double unit = 1.0 / std::sqrt(x.variance_px2 * y.variance_px2);
    const double shear = shape.slant * unit;
    const double shear_by_sigma_x = -shear * x.sigma_px / x.variance_px2;
    const double shear_by_sigma_y = -shear * y.sigma_px / y.variance_px2;
    for (Eigen::Index j = 0; j < patch.rows(); ++j) {
      const double v_px = y.from_centre_px(j);
      const Eigen::ArrayXd tilt = (shear * v_px * x.from_centre_px).min(kMostExponent).exp();
      const Eigen::ArrayXd light = y.value(j) * x.value * tilt;
      const Eigen::ArrayXd product_px2 = v_px * light * x.from_centre_px;
      value.col(j) = light;
      by_x.col(j) = y.value(j) * x.by_centre * tilt - shear * v_px * light;
      by_sigma_x.col(j) = y.value(j) * x.by_sigma * tilt + shear_by_sigma_x * product_px2;
      by_y.col(j) = y.by_centre(j) * x.value * tilt - shear * x.from_centre_px * light;
      by_sigma_y.col(j) = y.by_sigma(j) * x.value * tilt + shear_by_sigma_y * product_px2;
      by_slant.col(j) = unit * product_px2;
    }
  }
};

}  // namespace

int parameters_of(SpotForm form) {
  if (form == SpotForm::kUpright) return 8;
  return form == SpotForm::kSlanted ? 9 : kMostShapeParameters;
}

SpotModel::SpotModel(const SpotPatch& patch, const SpotShape& shape)
    : patch_(&patch), shape_(shape) {
  if (is_upright()) {
    write_upright();
  } else {
    write_out();
  }
}

void SpotModel::write_upright() {
  const SpotPatch& patch = *patch_;
  functions_.resize(patch.columns(), kFunctions);
  row_factors_.resize(kUprightParameters, patch.rows());
  GaussianAlongPixels along_x(shape_.x_px - patch.left_px, shape_.sigma_x_px);
  for (Eigen::Index i = 0; i < patch.columns(); ++i) {
    const PixelGaussian g = along_x.next();
    functions_.row(i) << g.value, g.by_centre, g.by_sigma, 1.0,
        plane_coordinate(i, patch.columns());
  }
  GaussianAlongPixels along_y(shape_.y_px - patch.top_px, shape_.sigma_y_px);
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    const PixelGaussian g = along_y.next();
    const double light = shape_.peak * g.value;
    row_factors_.col(j) << g.value, light, light, shape_.peak * g.by_centre,
        shape_.peak * g.by_sigma, 1.0, 1.0, plane_coordinate(j, patch.rows());
  }
  spot_.resize(patch.columns(), patch.rows());
  counts_.resize(patch.columns(), patch.rows());
  const Eigen::ArrayXd along_plane = shape_.level + shape_.slope_x * functions_.col(4).array();
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    spot_.col(j) = row_factors_(1, j) * functions_.col(0).array();
    counts_.col(j) = (spot_.col(j) + along_plane + shape_.slope_y * row_factors_(7, j)) *
                     patch.reflectance.col(j);
  }
}

void SpotModel::write_out() {
  const SpotPatch& patch = *patch_;
  derivatives_.resize(patch.counts.size(), parameters_of(shape_.form));
  const auto by = [&](int parameter) {
    return Eigen::Map<Eigen::ArrayXXd>(
        derivatives_.col(parameter).data(), patch.columns(), patch.rows());
  };
  const SlantedGaussian core(patch, shape_, 1.0);
  by(0) = core.value;
  by(1) = shape_.peak * core.by_x;
  by(2) = shape_.peak * core.by_sigma_x;
  by(3) = shape_.peak * core.by_y;
  by(4) = shape_.peak * core.by_sigma_y;
  by(8) = shape_.peak * core.by_slant;
  if (shape_.form == SpotForm::kHaloed) {
    const SlantedGaussian halo(patch, shape_, shape_.halo_width);
    const double peak = shape_.halo_share * shape_.peak;
    const double wider = shape_.halo_width * peak;
    by(0) += shape_.halo_share * halo.value;
    by(1) += peak * halo.by_x;
    by(2) += wider * halo.by_sigma_x;
    by(3) += peak * halo.by_y;
    by(4) += wider * halo.by_sigma_y;
    by(8) += peak * halo.by_slant;
    by(9) = shape_.peak * halo.value;
    by(10) = wider * (shape_.sigma_x_px * halo.by_sigma_x + shape_.sigma_y_px * halo.by_sigma_y);
  }
  spot_ = shape_.peak * by(0);
  by(5).setOnes();
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    by(7).col(j) = plane_coordinate(j, patch.rows());
    for (Eigen::Index i = 0; i < patch.columns(); ++i) {
      by(6)(i, j) = plane_coordinate(i, patch.columns());
    }
  }
  counts_ =
      (spot_ + shape_.level + shape_.slope_x * by(6) + shape_.slope_y * by(7)) * patch.reflectance;
  derivatives_.array().colwise() *= patch.reflectance.reshaped();
}

SpotModel::Products SpotModel::products() const {
  Products products = Products::Zero(kPaddedProducts, functions_.rows());
  for (int a = 0; a < kFunctions; ++a) {
    for (int b = a; b < kFunctions; ++b) {
      products.row(product_of(a, b)) =
          functions_.col(a).cwiseProduct(functions_.col(b)).transpose();
    }
  }
  return products;
}

ShapeMatrix SpotModel::normal_matrix(const Eigen::ArrayXXd& weight) const {
  if (!is_upright()) {
    const Eigen::MatrixXd weighted = derivatives_.array().colwise() * weight.reshaped();
    return derivatives_.transpose() * weighted;
  }
  const Products products = this->products();
  const Eigen::ArrayXXd importance = weight * patch_->reflectance.square();
  Products sums = Products::Zero(kPaddedProducts, patch_->rows());
  for (Eigen::Index j = 0; j < patch_->rows(); ++j) {
    // By a sum of a known size the compiler keeps in registers what a matrix product would pack.
    Eigen::Matrix<double, kPaddedProducts, 1> sum = sums.col(j);
    for (Eigen::Index i = 0; i < patch_->columns(); ++i) {
      sum.noalias() += importance(i, j) * products.col(i);
    }
    sums.col(j) = sum;
  }
  ShapeMatrix normal(kUprightParameters, kUprightParameters);
  for (int p = 0; p < kUprightParameters; ++p) {
    for (int q = p; q < kUprightParameters; ++q) {
      normal(p, q) = normal(q, p) =
          row_factors_.row(p).cwiseProduct(row_factors_.row(q)).dot(sums.row(product_for(p, q)));
    }
  }
  return normal;
}

ShapeVector SpotModel::gradient(const Eigen::ArrayXXd& pull) const {
  if (!is_upright()) return derivatives_.transpose() * pull.reshaped().matrix();
  const Eigen::Matrix<double, Eigen::Dynamic, kFunctions> sums =
      (pull * patch_->reflectance).matrix().transpose() * functions_;
  ShapeVector gradient(kUprightParameters);
  for (int p = 0; p < kUprightParameters; ++p) {
    gradient(p) =
        (row_factors_.row(p) * sums.col(kFunctionOf[static_cast<std::size_t>(p)])).value();
  }
  return gradient;
}

Eigen::ArrayXXd SpotModel::along(const ShapeVector& c) const {
  if (!is_upright()) {
    return (derivatives_ * c).array().reshaped(patch_->columns(), patch_->rows());
  }
  Eigen::Matrix<double, kFunctions, Eigen::Dynamic> of_row =
      Eigen::Matrix<double, kFunctions, Eigen::Dynamic>::Zero(kFunctions, patch_->rows());
  for (int p = 0; p < kUprightParameters; ++p) {
    of_row.row(kFunctionOf[static_cast<std::size_t>(p)]) += c(p) * row_factors_.row(p);
  }
  return (functions_ * of_row).array() * patch_->reflectance;
}

Eigen::ArrayXXd SpotModel::quadratic_form(const ShapeMatrix& c) const {
  if (!is_upright()) {
    return (derivatives_ * c)
        .cwiseProduct(derivatives_)
        .rowwise()
        .sum()
        .array()
        .reshaped(patch_->columns(), patch_->rows());
  }
  Products of_row = Products::Zero(kPaddedProducts, patch_->rows());
  for (int p = 0; p < kUprightParameters; ++p) {
    for (int q = p; q < kUprightParameters; ++q) {
      const double factor = p == q ? c(p, q) : 2.0 * c(p, q);
      of_row.row(product_for(p, q)) +=
          factor * row_factors_.row(p).cwiseProduct(row_factors_.row(q));
    }
  }
  const Products products = this->products();
  Eigen::ArrayXXd form(patch_->columns(), patch_->rows());
  for (Eigen::Index j = 0; j < patch_->rows(); ++j) {
    const Eigen::Matrix<double, kPaddedProducts, 1> factors = of_row.col(j);
    for (Eigen::Index i = 0; i < patch_->columns(); ++i) {
      form(i, j) = products.col(i).dot(factors);
    }
  }
  return form * patch_->reflectance.square();
}

}  // namespace nightswing::tracker
