#include "tests/support/synthetic_swing.h"

#include <cmath>
#include <numbers>
#include <random>

namespace nightswing::test {

std::vector<analysis::SwingSample> make_night(const SyntheticNight& night) {
  std::mt19937 generator(night.seed);
  std::normal_distribution<double> noise(0.0, 1.0);
  std::vector<analysis::SwingSample> samples;
  const double omega = 2.0 * std::numbers::pi / night.period_s;
  std::size_t k = 0;
  for (double i = 0.0; i * night.every_s < night.end_s; i += 1.0) {
    const double t_s = i * night.every_s;
    while (k + 1 < night.segments.size() && t_s >= night.segments[k + 1].from_s) ++k;
    const SyntheticSegment& segment = night.segments[k];
    const double since_s = t_s - segment.from_s;
    const double swing = segment.amplitude_mm * std::exp(-night.damping_per_s * since_s) *
                         std::cos(omega * since_s + segment.phase_rad);
    samples.push_back({.t_s = t_s,
                       .x_mm = segment.equilibrium_mm + night.drift_mm_per_hour * t_s / 3600.0 +
                               swing + night.noise_mm * noise(generator),
                       .u_mm = night.noise_mm > 0.0 ? night.noise_mm : 1.0});
  }
  return samples;
}

}  // namespace nightswing::test
