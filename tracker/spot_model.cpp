#include "tracker/spot_model.h"

#include <cmath>
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
      products_(patch.columns(), kProducts),
      row_factors_(4, patch.rows()) {
  GaussianAlongPixels along_x(shape.x_px - patch.left_px, shape.sigma_x_px);
  for (Eigen::Index i = 0; i < patch.columns(); ++i) {
    const PixelGaussian g = along_x.next();
    functions_.row(i) << g.value, g.by_centre, g.by_sigma, 1.0,
        plane_coordinate(i, patch.columns());
  }
  GaussianAlongPixels along_y(shape.y_px - patch.top_px, shape.sigma_y_px);
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    const PixelGaussian g = along_y.next();
    row_factors_.col(j) << g.value, g.by_centre, g.by_sigma, plane_coordinate(j, patch.rows());
  }
  int product = 0;
  for (int a = 0; a < kFunctions; ++a) {
    for (int b = a; b < kFunctions; ++b) {
      products_.col(product++) = functions_.col(a).cwiseProduct(functions_.col(b));
    }
  }
  spot_ = (shape.peak * functions_.col(0) * row_factors_.row(0)).array();
  counts_ = spot_ + shape.level;
  counts_.colwise() += shape.slope_x * functions_.col(4).array();
  counts_.rowwise() += shape.slope_y * row_factors_.row(3).array();
  counts_ *= patch.reflectance;
}

SpotModel::RowMap SpotModel::row_map(Eigen::Index row) const {
  const double gauss = row_factors_(0, row);
  const double peak = shape_.peak;
  RowMap map = RowMap::Zero();
  map(0, 0) = gauss;
  map(1, 1) = peak * gauss;
  map(2, 2) = peak * gauss;
  map(3, 0) = peak * row_factors_(1, row);
  map(4, 0) = peak * row_factors_(2, row);
  map(5, 3) = 1.0;
  map(6, 4) = 1.0;
  map(7, 3) = row_factors_(3, row);
  return map;
}

ShapeMatrix SpotModel::normal_matrix(const Eigen::ArrayXXd& weight) const {
  const Eigen::Matrix<double, kProducts, Eigen::Dynamic> sums =
      products_.transpose() * (weight * patch_->reflectance.square()).matrix();
  ShapeMatrix normal = ShapeMatrix::Zero();
  for (Eigen::Index j = 0; j < patch_->rows(); ++j) {
    Eigen::Matrix<double, kFunctions, kFunctions> of_row;
    int product = 0;
    for (int a = 0; a < kFunctions; ++a) {
      for (int b = a; b < kFunctions; ++b) {
        of_row(a, b) = of_row(b, a) = sums(product++, j);
      }
    }
    const RowMap map = row_map(j);
    normal += map * of_row * map.transpose();
  }
  return normal;
}

ShapeVector SpotModel::gradient(const Eigen::ArrayXXd& pull) const {
  const Eigen::Matrix<double, kFunctions, Eigen::Dynamic> sums =
      functions_.transpose() * (pull * patch_->reflectance).matrix();
  ShapeVector gradient = ShapeVector::Zero();
  for (Eigen::Index j = 0; j < patch_->rows(); ++j) gradient += row_map(j) * sums.col(j);
  return gradient;
}

Eigen::ArrayXXd SpotModel::along(const ShapeVector& c) const {
  Eigen::Matrix<double, kFunctions, Eigen::Dynamic> of_row(kFunctions, patch_->rows());
  for (Eigen::Index j = 0; j < patch_->rows(); ++j) of_row.col(j) = row_map(j).transpose() * c;
  return (functions_ * of_row).array() * patch_->reflectance;
}

Eigen::ArrayXXd SpotModel::quadratic_form(const ShapeMatrix& c) const {
  Eigen::Matrix<double, kProducts, Eigen::Dynamic> of_row(kProducts, patch_->rows());
  for (Eigen::Index j = 0; j < patch_->rows(); ++j) {
    const RowMap map = row_map(j);
    const Eigen::Matrix<double, kFunctions, kFunctions> q = map.transpose() * c * map;
    int product = 0;
    for (int a = 0; a < kFunctions; ++a) {
      for (int b = a; b < kFunctions; ++b) of_row(product++, j) = (a == b ? 1.0 : 2.0) * q(a, b);
    }
  }
  return (products_ * of_row).array() * patch_->reflectance.square();
}

}  // namespace nightswing::tracker
