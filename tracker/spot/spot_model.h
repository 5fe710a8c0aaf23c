#pragma once

#include <algorithm>
#include <cmath>

#include <Eigen/Core>

#include "tracker/spot/spot_patch.h"

namespace nightswing::tracker {

/// How much of a spot's shape is fitted; each form has the parameters of the one before and more.
enum class SpotForm {
  kUpright,  ///< a Gaussian whose axes are those of the picture: 8 parameters
  kSlanted,  ///< the axes are tilted: 9
  kHaloed    ///< and there is a halo around it: 11
};

/// A spot on a sloping background: light (x, y) = peak (g(1) + halo_share g(halo_width)) + plane,
/// averaged over each pixel, with
///   g(w) = exp(-(u^2 + v^2) / 2 + slant u v),
///   u = (x - x0) / (w sigma_x), v = (y - y0) / (w sigma_y).
/// So the sigmas are the widths of the profiles along a row and a column through the centre. The
/// plane is given at the middle of the patch, its slopes per half-width of the patch.
struct SpotShape {
  double peak = 0;
  double x_px = 0;
  double sigma_x_px = 1;
  double y_px = 0;
  double sigma_y_px = 1;
  double level = 0;
  double slope_x = 0;
  double slope_y = 0;
  double slant = 0;  ///< between -1 and 1; the correlation of x and y in the spot's light
  double halo_share = 0;
  double halo_width = 3;
  SpotForm form = SpotForm::kUpright;
};

/// Width of the whole spot, seen along one axis, over that of the profile through its centre.
template <typename Shape>
[[nodiscard]] double spread_by_slant(const Shape& shape) {
  return 1.0 / std::sqrt(1.0 - shape.slant * shape.slant);
}
/// Standard deviation of the spot's light (without halo) along that axis which has more of it.
template <typename Shape>
[[nodiscard]] double larger_sigma(const Shape& shape) {
  return spread_by_slant(shape) * std::max(shape.sigma_x_px, shape.sigma_y_px);
}
/// Geometric mean of the sigmas along the spot's own axes.
[[nodiscard]] inline double width_of(const SpotShape& shape) {
  return std::sqrt(spread_by_slant(shape) * shape.sigma_x_px * shape.sigma_y_px);
}
/// Half-width of the square that a spot is fitted in: four sigmas, within reason.
[[nodiscard]] inline int patch_half_px(double sigma_px) {
  return std::clamp(static_cast<int>(std::ceil(4.0 * sigma_px)) + 2, 8, 180);
}

inline constexpr int kMostShapeParameters = 11;
/// In the order of SpotShape's fields, those that its form has; of the last the logarithm.
using ShapeVector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMostShapeParameters, 1>;
using ShapeMatrix = Eigen::
    Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMostShapeParameters, kMostShapeParameters>;

[[nodiscard]] int parameters_of(SpotForm form);

/// The model of one shape on one patch with everything that the fit asks of it.
///
/// An upright Gaussian is a product of a function of x and one of y, so each of its derivatives is
/// one of five functions of the column times a factor of the row. Every weighted sum of products of
/// derivatives therefore needs only fifteen sums a row: this is what keeps a fit to a fraction of a
/// millisecond. For the other forms the derivatives are written out.
///
/// The mean over a pixel is exact for an upright spot. With a slant it is the product of the two
/// means times exp(slant u v) at the middle of the pixel, with sigma^2 + 1/12 for sigma^2: a
/// pixel's own variance adds to the spot's. That leaves out slant^2 / (12 sigma^2) of the squares
/// of the widths, which displaces nothing.
class SpotModel {
 public:
  /// sigma_x_px and sigma_y_px must be positive, the slant between -1 and 1; the patch must outlive
  /// the model.
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
  static constexpr int kUprightParameters = 8;
  static constexpr int kFunctions = 5;
  static constexpr int kProducts = kFunctions * (kFunctions + 1) / 2;
  static constexpr int kPaddedProducts = 16;  // so that vector instructions divide them
  static_assert(kProducts <= kPaddedProducts);
  using Products = Eigen::Matrix<double, kPaddedProducts, Eigen::Dynamic>;

  /// A column for each column of the patch: the products of two functions, (0, 0), (0, 1) ...
  /// (4, 4), and zeros.
  [[nodiscard]] Products products() const;

  void write_upright();
  void write_out();
  [[nodiscard]] bool is_upright() const { return shape_.form == SpotForm::kUpright; }

  const SpotPatch* patch_;  ///< outlives the model
  SpotShape shape_;
  Eigen::Matrix<double, Eigen::Dynamic, kFunctions> functions_;  ///< of the column
  /// Derivative by parameter p in pixel (i, j) = reflectance functions_(i, kFunctionOf[p])
  /// row_factors_(p, j), if the spot is upright;
  Eigen::Matrix<double, kUprightParameters, Eigen::Dynamic, Eigen::RowMajor> row_factors_;
  Eigen::MatrixXd derivatives_;  ///< else they are here: a row for each pixel, (0, 0), (1, 0) ...
  Eigen::ArrayXXd spot_;
  Eigen::ArrayXXd counts_;
};

}  // namespace nightswing::tracker
