#pragma once

#include "tracker/spot/spot_fit.h"
#include "tracker/spot/spot_patch.h"
#include "tracker/spot/wall_light.h"

namespace nightswing::tracker {

/// Standard uncertainty of a place.
struct WallDoubt {
  double x_px = 0.0;
  double y_px = 0.0;
};

/// How far the grain of a wall displaces a spot while the wall behind it is not known. It cannot be
/// told from the spot's own picture, because the fit takes what looks like a displacement for one.
/// So the fitted spot is laid on the learned wall at eight places around, and fitted there: the
/// median of the displacements, print being no grain. Zero if the wall behind is known, or that of
/// less than four places.
/// patch  as it was fitted, in the frame
[[nodiscard]] WallDoubt doubt_of_wall(const SpotPatch& patch,
                                      const SpotFit& fit,
                                      const WallLight& wall);

}  // namespace nightswing::tracker
