#pragma once

#include <optional>

#include <Eigen/Core>

#include "tracker/spot/spot_model.h"

namespace nightswing::tracker {

/// A second, weaker image of the spot that moves with it, as a mirror's other face or a window
/// makes it: its place is a linear function of the spot's. Where it is hidden by the spot this says
/// where it must be.
class SpotGhost {
 public:
  /// A light of a spot's shape that was seen at the same time as the spot, well apart from it.
  /// Lights that do not follow the spot are forgotten again.
  void note(const SpotShape& spot, const SpotShape& light);

  /// The ghost when the spot is at this place; nothing while too little has been seen: at least
  /// eight sightings, with the spot over a range of eight of its widths, and agreeing to 0.5 px (a
  /// weak image to 0.15 px over its share of the spot's peak, at most 1.5 px).
  [[nodiscard]] std::optional<SpotShape> at(double x_px, double y_px) const;

  /// How well the sightings agree.
  [[nodiscard]] double scatter_px() const;

  [[nodiscard]] int sightings() const { return sightings_; }

  void forget() { *this = {}; }

 private:
  [[nodiscard]] Eigen::Vector3d terms(double x_px, double y_px) const;
  [[nodiscard]] Eigen::Matrix<double, 3, 2> relation() const;
  [[nodiscard]] double most_scatter_px() const;

  double origin_x_px_ = 0.0;  // first place of the spot: small numbers for the normal equations
  double origin_y_px_ = 0.0;
  Eigen::Matrix3d normal_ = Eigen::Matrix3d::Zero();
  Eigen::Matrix<double, 3, 2> right_ = Eigen::Matrix<double, 3, 2>::Zero();
  double range_px_ = 0.0;  // farthest of the spot from its first place
  double variance_ = 0.0;
  double peak_ = 0.0;
  double share_ = 0.0;  ///< of the spot's peak
  double sigma_x_px_ = 0.0;
  double sigma_y_px_ = 0.0;
  double spot_width_px_ = 0.0;
  int sightings_ = 0;
  int contrary_ = 0;
};

}  // namespace nightswing::tracker
