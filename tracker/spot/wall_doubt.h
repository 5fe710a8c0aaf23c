#pragma once

#include <optional>

#include "tracker/spot/spot_fit.h"
#include "tracker/spot/spot_patch.h"
#include "tracker/spot/wall_light.h"

namespace nightswing::tracker {

/// Standard uncertainty of a place.
struct WallDoubt {
  double x_px = 0.0;
  double y_px = 0.0;
};

/// How far the grain of a wall displaces a spot if the wall behind it is not known. It cannot be
/// told from the spot's own picture, because the fit takes what looks like a displacement for one.
/// So the fitted spot is laid on the learned wall at eight places around: the median of what the
/// first step of a fit makes of it there, print being no grain. Nothing if less than four places
/// are known.
/// patch  around the spot; its counts and its print do not matter
[[nodiscard]] std::optional<WallDoubt> doubt_of_grain(const SpotPatch& patch,
                                                      const SpotFit& fit,
                                                      const WallLight& wall);

/// The same for that part of the wall behind it that is not known: zero if all of it is.
[[nodiscard]] std::optional<WallDoubt> doubt_of_wall(const SpotPatch& patch,
                                                     const SpotFit& fit,
                                                     const WallLight& wall);

}  // namespace nightswing::tracker
