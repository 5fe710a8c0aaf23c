#include "tests/support/spot_trial.h"

#include <algorithm>
#include <cmath>

#include "tracker/spot/spot_finder.h"

namespace nightswing::test {

SpotTrialResult run_trial(const SpotTrial& trial, const SpotTrialWitness& witness) {
  std::mt19937_64 random(trial.seed);
  std::uniform_real_distribution<double> phase(-0.5, 0.5);
  const double halo = trial.spot.halo_share > 0 ? trial.spot.halo_width : 1.0;
  const double widest_px = halo * std::max(trial.spot.sigma_x_px, trial.spot.sigma_y_px);
  const int side_px = std::max(48, 2 * static_cast<int>(std::ceil(6.0 * widest_px)) + 1);
  const int middle_px = side_px / 2;
  const cv::Size size(side_px, side_px);
  const cv::Mat wall = plane_light(size, trial.plane);
  tracker::SpotFinder finder;
  SpotTrialResult result;
  double squares = 0;
  double pulls = 0;
  double bounds = 0;
  int bounds_taken = 0;
  for (int frame = 0; frame < trial.frames; ++frame) {
    SpotTruth spot = trial.spot;
    spot.x_px = middle_px + phase(random);
    spot.y_px = middle_px + phase(random);
    if (frame < 8) {
      const CentreBound bound = centre_bound(size, spot, trial.plane, trial.camera);
      bounds += std::sqrt(0.5 * (bound.x_px * bound.x_px + bound.y_px * bound.y_px));
      ++bounds_taken;
    }
    const cv::Mat picture = photograph(wall, spot_light(size, spot), trial.camera, random);
    const auto measurement = finder.measure(picture);
    if (witness) witness(picture, spot, measurement);
    if (measurement.state != tracker::SpotState::kFound &&
        measurement.state != tracker::SpotState::kClipped) {
      continue;
    }
    ++result.measured;
    if (measurement.state == tracker::SpotState::kClipped) ++result.clipped;
    const double error_x_px = measurement.position->x_px - spot.x_px;
    const double error_y_px = measurement.position->y_px - spot.y_px;
    result.bias_x_px += error_x_px;
    result.bias_y_px += error_y_px;
    squares += error_x_px * error_x_px + error_y_px * error_y_px;
    pulls += std::pow(error_x_px / measurement.position->u_x_px, 2) +
             std::pow(error_y_px / measurement.position->u_y_px, 2);
  }
  result.bound_px = bounds / std::max(bounds_taken, 1);
  if (result.measured == 0) return result;
  result.bias_x_px /= result.measured;
  result.bias_y_px /= result.measured;
  result.rms_px = std::sqrt(squares / (2.0 * result.measured));
  result.pull_width = std::sqrt(pulls / (2.0 * result.measured));
  return result;
}

}  // namespace nightswing::test
