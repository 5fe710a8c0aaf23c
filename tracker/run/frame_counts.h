#pragma once

#include <array>
#include <cstddef>
#include <string>

#include "tracker/spot/spot_measurement.h"

namespace nightswing::tracker {

/// How many frames of a run came to which state.
class FrameCounts {
 public:
  void add(SpotState state) { ++counts_.at(static_cast<std::size_t>(state)); }
  [[nodiscard]] long of(SpotState state) const {
    return counts_.at(static_cast<std::size_t>(state));
  }
  [[nodiscard]] long measured() const { return of(SpotState::kFound) + of(SpotState::kClipped); }

 private:
  std::array<long, kSpotStates.size()> counts_{};
};

/// Such as "1990 found, 0 clipped, 8 blocked, 2 lost, 0 dark".
[[nodiscard]] std::string counts_text(const FrameCounts& counts);

}  // namespace nightswing::tracker
