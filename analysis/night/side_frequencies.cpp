#include "analysis/night/side_frequencies.h"

#include "analysis/night/night.h"

namespace nightswing::analysis {

std::optional<GravityResult> gravity_so_far(const Apparatus& apparatus,
                                            const NightFindings& findings,
                                            const SwingFit& fit) {
  if (fit.status != FitStatus::kConverged || !shift_is_clear(fit.shift_mm)) return std::nullopt;
  GravityResult g = gravity(apparatus, findings);
  if (g.status != GravityStatus::kComputed) return std::nullopt;
  return g;
}

void set_frequency_ratios(const FrequencyRatios& ratios, std::vector<Segment>& segments) {
  for (Segment& segment : segments) segment.frequency_ratio = ratios.of(segment.side);
}

}  // namespace nightswing::analysis
