#pragma once

#include <optional>

#include "calibration/wall_map.h"

/// A second, empirical figure beside the covariance of a map.
namespace nightswing::calibration {

struct MapQuality {
  double rms_px = 0.0;    ///< root mean square length of the residuals
  double worst_px = 0.0;  ///< the longest residual
  int groups = 0;         ///< markers, and points that belong to none, each counted once
  /// Jackknife standard uncertainty of the displacement, relative to it: from the maps that are
  /// fitted again without each group in turn. None if too few groups are left to fit the same
  /// model.
  std::optional<double> jackknife_relative;
  /// The largest relative change of the displacement when one group is left out, and that group's
  /// marker (kNoMarker for a point by hand). None as above.
  std::optional<double> worst_change_relative;
  int worst_marker = kNoMarker;
};

/// Judges the map by its residuals and by leaving out one marker (or one point by hand) at a time.
///   u2 = (g - 1) / g  sum over the g groups of (d_i - mean d)^2,   d_i the displacement between
///   the two pixels by the map without group i.
/// Unlike the covariance it needs no stated u_px, and it lets points of one marker err together.
/// from, to  two pixels that span the travel of the spot.
/// throws    std::invalid_argument if they map to the same place or lie beyond the horizon.
/// source    jackknife: Efron, Ann. Statist. 7 (1979) 1, section 3, from memory.
[[nodiscard]] MapQuality assess_map(const WallMap& map, PixelPoint from, PixelPoint to);

}  // namespace nightswing::calibration
