#include "tracker/spot/spot_ghost.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Cholesky>

namespace nightswing::tracker {
namespace {

constexpr double kMemory = 200.0;  // sightings
constexpr int kFewest = 8;
constexpr double kRange_widths = 8.0;
constexpr double kMostScatter_px = 0.5;  // of a strong image; a weak one may scatter more,
constexpr double kMostPull_px = 0.15;    // until that displaces the spot by this,
constexpr double kFarOut_px = 1.5;       // but never farther
constexpr double kStrange_scatters = 6.0;
constexpr int kMostContrary = 6;
constexpr double kRidge_px2 = 1e-3;  // across the path nothing is learned

}  // namespace

Eigen::Vector3d SpotGhost::terms(double x_px, double y_px) const {
  return {1.0, x_px - origin_x_px_, y_px - origin_y_px_};
}

Eigen::Matrix<double, 3, 2> SpotGhost::relation() const {
  const Eigen::Matrix3d ridge = kRidge_px2 * Eigen::Matrix3d::Identity();
  return (normal_ + ridge).ldlt().solve(right_);
}

void SpotGhost::note(const SpotShape& spot, const SpotShape& light) {
  if (sightings_ == 0) {
    origin_x_px_ = spot.x_px;
    origin_y_px_ = spot.y_px;
  }
  const Eigen::Vector3d now = terms(spot.x_px, spot.y_px);
  const Eigen::Vector2d place(light.x_px, light.y_px);
  if (sightings_ >= 4) {
    const double off_px = (relation().transpose() * now - place).norm();
    const double usual_px = std::max(scatter_px(), 0.3);
    if (sightings_ >= kFewest && off_px > kStrange_scatters * usual_px) {
      if (++contrary_ >= kMostContrary) forget();
      return;
    }
    variance_ += (off_px * off_px - variance_) / std::min(sightings_ - 3.0, kMemory);
  }
  contrary_ = 0;
  ++sightings_;
  const double fresh = std::max(1.0 / sightings_, 1.0 / kMemory);
  normal_ = (1.0 - 1.0 / kMemory) * normal_ + now * now.transpose();
  right_ = (1.0 - 1.0 / kMemory) * right_ + now * place.transpose();
  range_px_ = std::max(range_px_, now.tail<2>().norm());
  peak_ += fresh * (light.peak - peak_);
  share_ += fresh * (light.peak / spot.peak - share_);
  sigma_x_px_ += fresh * (light.sigma_x_px - sigma_x_px_);
  sigma_y_px_ += fresh * (light.sigma_y_px - sigma_y_px_);
  spot_width_px_ = std::sqrt(spot.sigma_x_px * spot.sigma_y_px);
  if (sightings_ >= kFewest && scatter_px() > 4.0 * most_scatter_px()) forget();
}

double SpotGhost::most_scatter_px() const {
  return std::clamp(kMostPull_px / share_, kMostScatter_px, kFarOut_px);
}

double SpotGhost::scatter_px() const {
  return std::sqrt(variance_);
}

std::optional<SpotShape> SpotGhost::at(double x_px, double y_px) const {
  if (sightings_ < kFewest || scatter_px() > most_scatter_px() ||
      range_px_ < kRange_widths * spot_width_px_) {
    return std::nullopt;
  }
  const Eigen::Vector2d place = relation().transpose() * terms(x_px, y_px);
  return SpotShape{.peak = peak_,
                   .x_px = place(0),
                   .sigma_x_px = sigma_x_px_,
                   .y_px = place(1),
                   .sigma_y_px = sigma_y_px_};
}

}  // namespace nightswing::tracker
