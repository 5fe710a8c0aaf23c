#include "calibration/map/camera_likeness.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <Eigen/LU>

namespace nightswing::calibration {
namespace {

/// Logarithm of the ratio of lengths, and cosine of the angle, of the wall's axes as a camera of
/// this focal length sees them.
Eigen::Vector2d axes_apart(const Eigen::Matrix3d& pixel_from_mm, double focal_px) {
  const Eigen::Vector3d scale(1.0 / focal_px, 1.0 / focal_px, 1.0);
  const Eigen::Vector3d x = scale.cwiseProduct(pixel_from_mm.col(0));
  const Eigen::Vector3d y = scale.cwiseProduct(pixel_from_mm.col(1));
  return {std::log(x.norm() / y.norm()), x.dot(y) / (x.norm() * y.norm())};
}

double best_focal_px(const Eigen::Matrix3d& pixel_from_mm, double width_px) {
  constexpr double kStep = 1.02;  // a hundredth of the strain it leads to, at most
  constexpr int kSteps = 233;     // to a hundred times the first
  double best_px = width_px;
  double least = axes_apart(pixel_from_mm, best_px).norm();
  for (int k = 0; k < kSteps; ++k) {
    const double focal_px = 0.3 * width_px * std::pow(kStep, k);
    const double strain = axes_apart(pixel_from_mm, focal_px).norm();
    if (strain >= least) continue;
    least = strain;
    best_px = focal_px;
  }
  return best_px;
}

}  // namespace

Eigen::Matrix3d centred_pixel_from_mm(const WallMap& map) {
  const auto rows = homography_mm_from_px(map);
  Eigen::Matrix3d to_middle = Eigen::Matrix3d::Identity();
  const PixelPoint middle = picture_centre(map.frame);
  to_middle(0, 2) = -middle.x_px;
  to_middle(1, 2) = -middle.y_px;
  return to_middle *
         Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(rows.data()).inverse();
}

CameraLikeness camera_likeness(const WallMap& map) {
  if (map.kind != MapKind::kPlane || map.frame.width_px <= 0 || map.frame.height_px <= 0) {
    throw std::invalid_argument(
        "only a plane map of a known picture can be compared with a camera");
  }
  const Eigen::Matrix3d matrix = centred_pixel_from_mm(map);
  const double focal_px = best_focal_px(matrix, map.frame.width_px);
  const Eigen::Vector2d apart = axes_apart(matrix, focal_px);
  // At the best focal length a change of it changes nothing to first order.
  const Eigen::MatrixXd covariance = covariance_matrix(map).topLeftCorner<8, 8>();
  Eigen::Vector<double, 8> gradient;
  for (Eigen::Index i = 0; i < 8; ++i) {
    WallMap changed = map;
    const double step = 0.1 * std::sqrt(covariance(i, i));
    changed.parameters[static_cast<std::size_t>(i)] += step;
    const Eigen::Vector2d moved = axes_apart(centred_pixel_from_mm(changed), focal_px) - apart;
    gradient[i] = step > 0.0 ? apart.normalized().dot(moved) / step : 0.0;
  }
  return {.strain = apart.norm(),
          .u_strain = std::sqrt(std::max(0.0, gradient.dot(covariance * gradient)))};
}

}  // namespace nightswing::calibration
