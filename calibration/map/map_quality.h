#pragma once

#include <optional>

#include "calibration/map/wall_map.h"

/// What a map leaves in doubt about a displacement, and a second, empirical figure beside that.
namespace nightswing::calibration {

struct MapQuality {
  double rms_px = 0.0;    ///< root mean square length of the residuals
  double worst_px = 0.0;  ///< the longest residual
  int groups = 0;         ///< markers, points that belong to none, or stretches of a ruler's ticks
  /// Jackknife standard uncertainty of the displacement, relative to it: from the maps that are
  /// fitted again without each group in turn. None if too few groups are left to fit the same
  /// model.
  std::optional<double> jackknife_relative;
  /// The largest relative change of the displacement when one group is left out, and that group's
  /// marker (kNoMarker for a point by hand). None as above.
  std::optional<double> worst_change_relative;
  int worst_marker = kNoMarker;
};

/// Judges the map by its residuals and by leaving out one marker (or one point by hand, or a
/// twentieth of a ruler's ticks) at a time.
///   u2 = (g - 1) / g  sum over the g groups of (d_i - mean d)^2,   d_i the displacement between
///   the two pixels by the map without group i.
/// Unlike the covariance it needs no stated u_px, and it lets points of one marker err together.
/// from, to  two pixels that span the travel of the spot.
/// throws    std::invalid_argument if they map to the same place or lie beyond the horizon.
/// source    jackknife: Efron, Ann. Statist. 7 (1979) 1, section 3, from memory.
[[nodiscard]] MapQuality assess_map(const WallMap& map, PixelPoint from, PixelPoint to);

/// What the map leaves in doubt about the shift between two equilibria on the spot's path, in two
/// parts that can stand as two rows of a budget:
///   ln(shift) = ln(path) + ln(shift / path)
struct PathUncertainty {
  double path_mm = 0.0;   ///< length of the path on the wall
  double shift_mm = 0.0;  ///< distance of the equilibria
  /// The scale factor: relative standard uncertainty of the length of the path, that of the printed
  /// millimetres included.
  double scale_relative_u = 0.0;
  /// The non-linearity: relative standard uncertainty of shift / path, that is, of how far places
  /// inside the path deviate from proportion. Perspective and lens, where the references do not fix
  /// them. It vanishes if the shift is the whole path.
  double nonlinearity_relative_u = 0.0;
  double correlation = 0.0;  ///< of the two, -1 to 1
  /// Of the shift itself: the two parts with their correlation.
  double shift_relative_u = 0.0;
  /// The share of the path, 0 to 1, that lies outside the reference points (extrapolates); the
  /// uncertainties above include what that costs.
  double extrapolated_share = 0.0;
};

/// from, to                    pixels of the ends of the path
/// equilibrium_a, equilibrium_b  pixels of the two equilibria, on or near the path, apart
/// throws  std::invalid_argument if either pair coincides or a pixel lies beyond the horizon.
/// Sheets that seem of different size count in both parts (sheet_doubt_relative), and so does what
/// they may stand off unseen; what a ruler does counts in the scale factor (standing_off.h).
/// source  linear propagation with correlation, JCGM 100:2008 (13); the map's covariance, which
///         includes the lens.    not here  the uncertainty of the pixels themselves.
[[nodiscard]] PathUncertainty path_uncertainty(const WallMap& map,
                                               PixelPoint from,
                                               PixelPoint to,
                                               PixelPoint equilibrium_a,
                                               PixelPoint equilibrium_b);

}  // namespace nightswing::calibration
