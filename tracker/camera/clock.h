#pragma once

#include <string>

#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// The clocks of this computer. The steady one carries the track: it goes on evenly, also while the
/// computer sleeps, whatever is done to the wall clock. Tests put one of their own in its place.
class Clock {
 public:
  Clock() = default;
  virtual ~Clock() = default;
  Clock(const Clock&) = delete;
  Clock& operator=(const Clock&) = delete;

  /// Seconds since the computer was started (CLOCK_BOOTTIME).
  [[nodiscard]] virtual double steady_s() const = 0;
  /// The clock of capture timestamps (CLOCK_MONOTONIC): as steady, but stands still in sleep.
  [[nodiscard]] virtual double monotonic_s() const = 0;
  [[nodiscard]] virtual UtcTime utc() const = 0;
  /// Another word after each start of the computer: steady_s of the same word are comparable.
  [[nodiscard]] virtual std::string boot() const = 0;
};

class SystemClock : public Clock {
 public:
  [[nodiscard]] double steady_s() const override;
  [[nodiscard]] double monotonic_s() const override;
  [[nodiscard]] UtcTime utc() const override;
  [[nodiscard]] std::string boot() const override;
};

}  // namespace nightswing::tracker
