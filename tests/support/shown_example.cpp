#include "tests/support/shown_example.h"

#include <cmath>
#include <numbers>

namespace nightswing::test {
namespace {

using tracker::ShownNight;
using tracker::ShownSegment;

ShownSegment segment(const char* side, double from_s, double rest_mm, double amplitude_mm) {
  return {.side = side,
          .from_s = from_s,
          .to_s = from_s + 3600.0,
          .equilibrium_mm = {rest_mm, 0.001},
          .without_drift_mm = rest_mm + (from_s > 0.0 ? -0.18 : 0.18),
          .drift_mm_per_hour = 0.36,
          .amplitude_from_mm = amplitude_mm,
          .amplitude_to_mm = amplitude_mm * std::exp(-2e-4 * 3600.0),
          .periods = 6.0,
          .used = 720,
          .residual_mean_mm = 0.0,
          .residual_rms_mm = 0.02};
}

}  // namespace

ShownNight shown_example() {
  ShownNight night;
  night.title = "Example balance";
  night.program = "nightswing";
  night.run = "runs/example";
  night.source = "example.mp4";
  night.status = "measured";
  night.message = "measured";
  night.g_m3_kg_s2 = {6.7e-11, 1e-12};
  night.g_text = "6.70(10)e-11 m3 kg-1 s-2";
  night.comparison = tracker::compare_with_accepted(*night.g_m3_kg_s2);
  night.opinions = {{"full model", *night.g_m3_kg_s2}, {"textbook", {6.1e-11, 0.0}}};
  night.quantities = {{"period of the swing", "600.0(1) s"}};
  night.period_s = 600.0;
  night.damping_per_s = 2e-4;
  night.residual_rms_mm = 0.02;
  night.segments = {segment("plus", 0.0, 300.0, 40.0), segment("minus", 3600.0, 200.0, 60.0)};
  for (int k = 0; k < 1440; ++k) {
    const double t_s = 5.0 * k;
    const ShownSegment& s = *segment_at(night, t_s);
    const double since_s = t_s - s.from_s;
    const double residual_mm = k % 2 == 0 ? 0.02 : -0.02;
    const double x_mm = s.equilibrium_mm.value + 0.36 * (since_s - 1800.0) / 3600.0 +
                        s.amplitude_from_mm * std::exp(-2e-4 * since_s) *
                            std::cos(2.0 * std::numbers::pi * since_s / 600.0 + 0.7) +
                        residual_mm;
    night.samples.push_back({.t_s = t_s,
                             .x_mm = x_mm,
                             .u_mm = 0.02,
                             .residual_mm = residual_mm,
                             .left_out = false,
                             .pixel = {100.0 + 2.5 * x_mm, 300.0 + 0.1 * x_mm}});
  }
  night.events = {{3600.0, "1 h 00 min", "side", "minus"},
                  {5000.0, "1 h 23 min", "spot lost", "state lost"}};
  night.budget = {{"separation", "0.0460(3) m", 1.4, 0.96}, {"arm", "0.0500(2) m", 0.3, 0.04}};
  night.corrections = {{"rod", 1.7}, {"pull on the rod", -1.6}};
  night.map.references = {
      {.point = {.pixel = {100, 300}, .wall = {0, 0}}, .residual_x_px = 0.02},
      {.point = {.pixel = {850, 330}, .wall = {300, 0}}, .residual_y_px = -0.01}};
  night.commands = {"nightswing analyse runs/example"};
  return night;
}

}  // namespace nightswing::test
