#pragma once

#include <vector>

#include "tracker/spot/spot_model.h"
#include "tracker/spot/wall_light.h"

namespace nightswing::tracker {

/// Lights that stood still while the spot moved (reflections), remembered by shape over the times
/// in which the learned wall, which they are otherwise part of, is not known. At most eight.
class FixedLights {
 public:
  /// In place of one that was known there already.
  void remember(const SpotShape& shape);
  void clear() { lights_.clear(); }

  /// Subtracts their light from the patch where the wall is not known.
  void take_away(SpotPatch& patch, const WallLight& wall) const;

  /// Whether a light is within two sigmas of one of them, and the wall not known there.
  [[nodiscard]] bool holds(const SpotShape& shape, const WallLight& wall) const;

 private:
  std::vector<SpotShape> lights_;
};

}  // namespace nightswing::tracker
