#pragma once

#include <algorithm>
#include <cmath>

#include <Eigen/Core>

#include "tracker/spot/spot_patch.h"

namespace nightswing::tracker {

/// A spot on a sloping background: light (x, y) = peak exp(-(x - x0)^2 / 2 sigma_x^2
/// - (y - y0)^2 / 2 sigma_y^2) + plane, averaged over each pixel. The plane is given at the middle
/// of the patch, its slopes per half-width of the patch.
struct SpotShape {
  double peak = 0;
  double x_px = 0;
  double sigma_x_px = 1;
  double y_px = 0;
  double sigma_y_px = 1;
  double level = 0;
  double slope_x = 0;
  double slope_y = 0;
};

[[nodiscard]] inline double larger_sigma(const SpotShape& shape) {
  return std::max(shape.sigma_x_px, shape.sigma_y_px);
}
[[nodiscard]] inline double width_of(const SpotShape& shape) {
  return std::sqrt(shape.sigma_x_px * shape.sigma_y_px);
}
/// Half-width of the square that a spot is fitted in: four sigmas, within reason.
[[nodiscard]] inline int patch_half_px(double sigma_px) {
  return std::clamp(static_cast<int>(std::ceil(4.0 * sigma_px)) + 2, 8, 180);
}

inline constexpr int kShapeParameters = 8;  ///< in the order of SpotShape's fields
using ShapeVector = Eigen::Matrix<double, kShapeParameters, 1>;
using ShapeMatrix = Eigen::Matrix<double, kShapeParameters, kShapeParameters>;

/// The model of one shape on one patch with everything that the fit asks of it.
///
/// The Gaussian is a product of a function of x and one of y, so each of its derivatives is one of
/// five functions of the column times a factor of the row. Every weighted sum of products of
/// derivatives therefore needs only fifteen sums a row, which are one matrix product: this is what
/// keeps a fit to a fraction of a millisecond.
class SpotModel {
 public:
  /// sigma_x_px and sigma_y_px must be positive; the patch must outlive the model.
  SpotModel(const SpotPatch& patch, const SpotShape& shape);

  [[nodiscard]] const SpotShape& shape() const { return shape_; }

  /// Light of the spot alone on a wall of reflectance 1.
  [[nodiscard]] const Eigen::ArrayXXd& spot() const { return spot_; }

  /// Spot and plane, both times the reflectance: what the patch's counts should be.
  [[nodiscard]] const Eigen::ArrayXXd& counts() const { return counts_; }

  /// Sum over pixels of weight * J J^T, J the derivatives of counts() by the parameters.
  [[nodiscard]] ShapeMatrix normal_matrix(const Eigen::ArrayXXd& weight) const;

  /// Sum over pixels of pull * J.
  [[nodiscard]] ShapeVector gradient(const Eigen::ArrayXXd& pull) const;

  /// J^T c in every pixel.
  [[nodiscard]] Eigen::ArrayXXd along(const ShapeVector& c) const;

  /// J^T C J in every pixel, C symmetric.
  [[nodiscard]] Eigen::ArrayXXd quadratic_form(const ShapeMatrix& c) const;

 private:
  static constexpr int kFunctions = 5;
  static constexpr int kProducts = kFunctions * (kFunctions + 1) / 2;

  /// The columns are the products of two functions, (0, 0), (0, 1) ... (4, 4).
  [[nodiscard]] Eigen::Matrix<double, Eigen::Dynamic, kProducts> products() const;

  const SpotPatch* patch_;  ///< outlives the model
  SpotShape shape_;
  Eigen::Matrix<double, Eigen::Dynamic, kFunctions> functions_;  ///< of the column
  /// Derivative by parameter p in pixel (i, j) = reflectance functions_(i, kFunctionOf[p])
  /// row_factors_(p, j).
  Eigen::Matrix<double, kShapeParameters, Eigen::Dynamic, Eigen::RowMajor> row_factors_;
  Eigen::ArrayXXd spot_;
  Eigen::ArrayXXd counts_;
};

}  // namespace nightswing::tracker
