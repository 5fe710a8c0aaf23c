#pragma once

#include <cstdint>
#include <vector>

#include "analysis/positions/swing_series.h"

namespace nightswing::test {

/// A night of a balance that is never left alone, by stepwise integration of its equation of motion
/// (no closed form, no filter): kicks of a random torque at every small step, sudden kicks, slow
/// and white noise of the readings, drift, gaps, false readings.
struct DrivenNight {
  std::vector<analysis::SideChange> sides{{analysis::Side::kPlus, 0.0},
                                          {analysis::Side::kMinus, 3600.0}};
  double plus_mm = 110.0;
  double minus_mm = 90.0;
  double away_mm = 100.0;
  double end_s = 7200.0;
  double every_s = 5.0;
  double period_s = 600.0;  ///< of the damped swing
  double away_period_s = 600.0;
  double damping_per_s = 1.0 / 1909.86;  ///< Q = pi/(damping period) = 10
  double start_mm = 20.0;                ///< displacement at the start; speed 0
  double torque_mm = 0.0;                ///< r.m.s. swing that the random torque keeps up
  double white_mm = 0.3;
  double slow_mm = 0.0;
  double slow_memory_s = 180.0;
  double drift_mm_per_hour = 0.0;  ///< zero at t = 0
  double relaxation_mm = 0.0;      ///< times exp(-t/relaxation_s)
  double relaxation_s = 1800.0;
  int kicks = 0;  ///< at random times, of kick_mm swing
  double kick_mm = 3.0;
  double gap_share = 0.0;      ///< of the readings missing, in stretches of a minute
  double outlier_share = 0.0;  ///< of the readings wrong by up to 50 white sigmas
  std::uint32_t seed = 1;
};

struct DrivenTrack {
  std::vector<analysis::SwingSample> samples;
  std::vector<double> kicks_s;
};

[[nodiscard]] DrivenTrack make_driven(const DrivenNight& night);

}  // namespace nightswing::test
