#pragma once

#include <cstdint>
#include <vector>

#include "analysis/positions/swing_series.h"

namespace nightswing::test {

/// A night by the closed form of the damped swing with white noise: no dynamics, no balance.
struct SyntheticSegment {
  double from_s;
  double equilibrium_mm;
  double amplitude_mm;  ///< at from_s
  double phase_rad;     ///< x = equilibrium + amplitude cos(w t + phase)
};

struct SyntheticNight {
  std::vector<SyntheticSegment> segments;
  double end_s;
  double every_s = 5.0;
  double period_s = 600.0;  ///< of the damped swing
  double damping_per_s = 1.0 / 5400.0;
  double noise_mm = 0.02;
  double drift_mm_per_hour = 0.0;  ///< zero at t = 0
  std::uint32_t seed = 1;
};

[[nodiscard]] std::vector<analysis::SwingSample> make_night(const SyntheticNight& night);

}  // namespace nightswing::test
