#pragma once

#include <atomic>
#include <string>

#include "tracker/camera/clock.h"

namespace nightswing::test {

/// Clocks that stand until they are set. May be read and set in different threads.
class FakeClock : public tracker::Clock {
 public:
  [[nodiscard]] double steady_s() const override { return now_s; }
  [[nodiscard]] double monotonic_s() const override { return now_s - slept_s; }
  [[nodiscard]] tracker::UtcTime utc() const override {
    return tracker::after(*tracker::parse_iso_time("2026-03-14T21:30:00Z"),
                          now_s - 1000.0 + wall_ahead_s);
  }
  [[nodiscard]] std::string boot() const override { return boot_word; }

  std::atomic<double> now_s = 1000.0;
  std::atomic<double> slept_s = 0.0;       ///< of suspend, which the monotonic clock leaves out
  std::atomic<double> wall_ahead_s = 0.0;  ///< steps of the wall clock; 21:30 at now_s = 1000
  std::string boot_word = "first";
};

}  // namespace nightswing::test
