#pragma once

#include <cstdint>
#include <functional>
#include <string>

#include "tests/support/synthetic_spot.h"
#include "tracker/spot/spot_measurement.h"

namespace nightswing::test {

/// One condition under which many frames are measured; the spot's phase on the pixel grid is drawn
/// anew for each, and so is the noise.
struct SpotTrial {
  SpotTruth spot{100, 0, 0, 3, 3};  ///< the centre is overwritten: near the middle of the picture
  PlaneTruth plane{40, 0, 0};
  CameraTruth camera{};
  int frames = 200;
  std::uint64_t seed = 1;
};

/// Errors in both coordinates together, over the frames in which the spot was measured.
struct SpotTrialResult {
  double bias_x_px = 0;
  double bias_y_px = 0;
  double rms_px = 0;      ///< of one coordinate
  double bound_px = 0;    ///< Cramer-Rao, r.m.s. of both, mean over the phases
  double pull_width = 0;  ///< root mean square of error / reported uncertainty
  int measured = 0;       ///< frames found or clipped
  int clipped = 0;
  [[nodiscard]] double ratio() const { return rms_px / bound_px; }
};

/// Is shown every picture, its truth and what was measured in it.
using SpotTrialWitness = std::function<void(
    const cv::Mat& picture, const SpotTruth& truth, const tracker::SpotMeasurement& measured)>;

[[nodiscard]] SpotTrialResult run_trial(const SpotTrial& trial,
                                        const SpotTrialWitness& witness = {});

}  // namespace nightswing::test
