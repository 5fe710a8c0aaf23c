#include "calibration/motion/motion_fit.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>
#include <vector>

#include <Eigen/Cholesky>

#include "calibration/map/median.h"

namespace nightswing::calibration {
namespace {

constexpr int kRounds = 20;
constexpr double kTukey = 4.685;  // 95 % efficiency for normal errors
constexpr double kAgreeing_sigmas = 3.5;
constexpr double kLeastAgreeing_px = 0.15;
constexpr double kLeastScatter_px = 0.005;

using Parameters = Eigen::Matrix<double, 6, 1>;
using Normal = Eigen::Matrix<double, 6, 6>;

/// The motion as parameters that are alike in size: a = zoom cos, b = zoom sin and the keystone per
/// `length`, shifts in px. Order: shift x, shift y, a, b, keystone x, keystone y.
class Model {
 public:
  explicit Model(FrameSize frame)
      : centre_(picture_centre(frame)), length_px_(std::max(1.0, 0.5 * frame.width_px)) {}

  [[nodiscard]] Parameters from(const CameraMotion& m) const {
    Parameters p;
    p << m.shift_x_px, m.shift_y_px, length_px_ * m.zoom * std::cos(m.rotation_rad),
        length_px_ * m.zoom * std::sin(m.rotation_rad),
        length_px_ * length_px_ * m.keystone_x_per_px,
        length_px_ * length_px_ * m.keystone_y_per_px;
    return p;
  }

  [[nodiscard]] CameraMotion motion(const Parameters& p) const {
    const double square = length_px_ * length_px_;
    return {p[0],
            p[1],
            std::atan2(p[3], p[2]),
            std::hypot(p[2], p[3]) / length_px_,
            p[4] / square,
            p[5] / square};
  }

  [[nodiscard]] Eigen::Vector2d residual(const Parameters& p, const PlacePair& place) const {
    const PixelPoint model = moved_from_reference(motion(p), centre_, place.reference);
    return {place.now.x_px - model.x_px, place.now.y_px - model.y_px};
  }

  /// Derivatives of the place now with respect to the parameters.
  [[nodiscard]] Eigen::Matrix<double, 2, 6> slope(const Parameters& p, PixelPoint reference) const {
    const double x = (reference.x_px - centre_.x_px) / length_px_;
    const double y = (reference.y_px - centre_.y_px) / length_px_;
    const double w = 1.0 + (p[4] * x + p[5] * y) / length_px_;
    const double now_x = (p[2] * x - p[3] * y + p[0]) / w;
    const double now_y = (p[3] * x + p[2] * y + p[1]) / w;
    Eigen::Matrix<double, 2, 6> slope;
    slope << 1.0, 0.0, x, -y, -now_x * x / length_px_, -now_x * y / length_px_,  //
        0.0, 1.0, y, x, -now_y * x / length_px_, -now_y * y / length_px_;
    return slope / w;
  }

  /// Covariance of the motion's own parameters.
  [[nodiscard]] MotionCovariance motion_covariance(const Parameters& p, const Normal& of) const {
    Normal change = Normal::Identity();
    const double size = std::hypot(p[2], p[3]);
    change.block<1, 2>(2, 2) << -p[3] / (size * size), p[2] / (size * size);
    change.block<1, 2>(3, 2) << p[2] / (size * length_px_), p[3] / (size * length_px_);
    change(4, 4) = change(5, 5) = 1.0 / (length_px_ * length_px_);
    return change * of * change.transpose();
  }

 private:
  PixelPoint centre_;
  double length_px_;
};

/// Moves the start to where half of the places are, so that most weights are not zero at first.
void shift_to_median(const Model& model, std::span<const PlacePair> places, Parameters& p) {
  std::vector<double> x_px;
  std::vector<double> y_px;
  for (const PlacePair& place : places) {
    const Eigen::Vector2d residual = model.residual(p, place);
    x_px.push_back(residual.x());
    y_px.push_back(residual.y());
  }
  p[0] += upper_median_of(std::move(x_px));
  p[1] += upper_median_of(std::move(y_px));
}

}  // namespace

MotionFit fit_motion(std::span<const PlacePair> places,
                     FrameSize frame,
                     const CameraMotion& start) {
  if (places.size() < 3) throw std::invalid_argument("fit_motion: fewer than three places");
  const Model model(frame);
  Parameters p = model.from(start);
  shift_to_median(model, places, p);
  MotionFit fit;
  Normal normal;
  double weights = 0.0;
  double squares = 0.0;
  for (int round = 0; round < kRounds; ++round) {
    std::vector<double> lengths_px;
    for (const PlacePair& place : places) lengths_px.push_back(model.residual(p, place).norm());
    const double sigma_px =
        std::max(upper_median_of(lengths_px) / kMedianLengthOfNormal, kLeastScatter_px);
    normal.setZero();
    Parameters right = Parameters::Zero();
    weights = squares = 0.0;
    fit.agreeing = 0;
    for (std::size_t i = 0; i < places.size(); ++i) {
      const double ratio = lengths_px[i] / (kTukey * sigma_px);
      if (lengths_px[i] < std::max(kAgreeing_sigmas * sigma_px, kLeastAgreeing_px)) ++fit.agreeing;
      if (ratio >= 1.0) continue;
      const double weight = std::pow(1.0 - ratio * ratio, 2);
      const auto slope = model.slope(p, places[i].reference);
      normal += weight * slope.transpose() * slope;
      right += weight * slope.transpose() * model.residual(p, places[i]);
      weights += weight;
      squares += weight * lengths_px[i] * lengths_px[i];
    }
    const double keystone_px = std::max(1.0, std::hypot(p[0], p[1]));
    for (const Eigen::Index k : {4, 5}) {
      const double precision = std::pow(sigma_px / keystone_px, 2);
      normal(k, k) += precision;
      right[k] -= precision * p[k];
    }
    const Parameters step = normal.ldlt().solve(right);
    p += step;
    if (step.cwiseAbs().maxCoeff() < 1e-5) break;
  }
  // Six parameters from two coordinates each; the biweight makes residuals a little too small,
  // which the places left out beyond it make up for.
  const double freedom = std::max(1.0, 2.0 * weights - 6.0);
  fit.scatter_px = std::max(std::sqrt(squares / freedom), kLeastScatter_px);
  fit.motion = model.motion(p);
  const Normal inverse = normal.ldlt().solve(Normal::Identity());
  fit.covariance = model.motion_covariance(p, fit.scatter_px * fit.scatter_px * inverse);
  return fit;
}

double motion_u_px(const MotionCovariance& covariance, PixelPoint centre, PixelPoint reference) {
  const double x = reference.x_px - centre.x_px;
  const double y = reference.y_px - centre.y_px;
  Eigen::Matrix<double, 2, 6> slope;         // of a small motion; see CameraMotion
  slope << 1.0, 0.0, -y, x, -x * x, -x * y,  //
      0.0, 1.0, x, y, -x * y, -y * y;
  const Eigen::Matrix2d spread = slope * covariance * slope.transpose();
  return std::sqrt(std::max(spread(0, 0), spread(1, 1)));
}

}  // namespace nightswing::calibration
