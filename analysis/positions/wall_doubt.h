#pragma once

#include <algorithm>
#include <cmath>
#include <functional>

namespace nightswing::analysis {

/// What the map of the wall leaves in doubt about the distance of two places on the spot's path, as
/// two factors of the distance, each 1 with a relative standard uncertainty.
struct WallDoubt {
  double scale_relative_u = 0.0;         ///< of all lengths along the path alike
  double nonlinearity_relative_u = 0.0;  ///< of this distance in proportion to the whole path
  double correlation = 0.0;              ///< of the two, -1 to 1

  /// Of the distance itself.
  [[nodiscard]] double relative_u() const {
    const double both = 2.0 * correlation * scale_relative_u * nonlinearity_relative_u;
    return std::sqrt(std::max(0.0,
                              scale_relative_u * scale_relative_u +
                                  nonlinearity_relative_u * nonlinearity_relative_u + both));
  }
};

/// Answers for two places, given as positions along the path in mm (SpotPath). Whoever has the map
/// and the pixels provides it.
using WallDoubtOf = std::function<WallDoubt(double from_mm, double to_mm)>;

}  // namespace nightswing::analysis
