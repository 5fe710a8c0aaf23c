#pragma once

#include "tracker/camera/clock.h"

namespace nightswing::test {

/// Clocks that run so many times as fast as this computer's.
class FastClock : public tracker::Clock {
 public:
  explicit FastClock(double factor) : factor_(factor) {}
  [[nodiscard]] double steady_s() const override {
    return factor_ * (real_.steady_s() - real_start_s_);
  }
  [[nodiscard]] double monotonic_s() const override { return steady_s(); }
  [[nodiscard]] tracker::UtcTime utc() const override {
    return tracker::after(*tracker::parse_iso_time("2026-03-14T21:30:00Z"), steady_s());
  }
  [[nodiscard]] std::string boot() const override { return "fast"; }

 private:
  double factor_;
  tracker::SystemClock real_;
  double real_start_s_ = real_.steady_s();
};

}  // namespace nightswing::test
