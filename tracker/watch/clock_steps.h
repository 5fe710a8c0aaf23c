#pragma once

#include <optional>
#include <string>

#include "tracker/camera/clock.h"

namespace nightswing::tracker {

/// Watches the wall clock against the steady one, which carries the track.
class ClockSteps {
 public:
  /// A sentence if the wall clock has gone another way than the steady one by more than half a
  /// second since the last such sentence (set by hand, or put right by the network); counted anew
  /// from then on.
  [[nodiscard]] std::optional<std::string> look(double steady_s, UtcTime utc);

 private:
  struct Reading {
    double steady_s;
    UtcTime utc;
  };
  std::optional<Reading> reference_;
};

}  // namespace nightswing::tracker
