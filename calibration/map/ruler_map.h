#pragma once

#include <span>

#include "calibration/map/spaces.h"
#include "calibration/map/wall_map.h"

/// Fits the map that the ticks of an ordinary ruler give.
namespace nightswing::calibration {

/// A pixel on the line of a tick (anywhere on it) and the tick's place on the ruler; u_px > 0 is
/// the standard uncertainty across the tick.
struct TickPoint {
  PixelPoint pixel;
  double x_mm;
  double u_px;
};

/// Fits a map of kind kRuler to points on tick lines.
///   minimises the sum of Huber(r / u_px), quadratic up to 3 standard uncertainties, with
///   r = (x_mm(pixel) - x_mm of the tick) / |d x_mm / d pixel|, the distance across the tick; plus
///   the squares of k1, k2, k3 over what is known of lenses beforehand (kUsualLens in lens.h).
///   Where the ticks tell more, that counts for nothing; where they do not, a term stays near 0 and
///   keeps its doubt, so that the map is uncertain beyond the ends of a ruler seen in part.
/// points   at least 8 of at least 4 ticks; the ticks long enough in the picture to show where they
///          meet, else the map is uncertain away from the ruler, and says so in its covariance.
/// frame    size of the picture: the lens's axis is taken to go through its middle.
/// returns  the map. Its covariance is as wide as the residuals ask: the places of the ticks (what
///          the points of one have in common) and their tilts (in what they differ) each by their
///          own scatter, at least the stated one. Points of one tick must follow one another. The
///          points are its references, with what is left across the ticks for residuals; the marker
///          of a point is the number of its tick in the order along the ruler.
/// throws   std::invalid_argument for numbers not finite, a u_px or frame not positive.
[[nodiscard]] MapFit fit_ruler_map(std::span<const TickPoint> points, FrameSize frame);

/// The same map with other readings: x_mm becomes sense x_mm + offset_mm, sense 1 or -1.
[[nodiscard]] WallMap renumbered(const WallMap& map, double sense, double offset_mm);

}  // namespace nightswing::calibration
