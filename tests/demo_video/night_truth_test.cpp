#include "demo_video/night_truth.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;
using test::within_rel;

TEST_SUITE("night_truth") {
  TEST_CASE("the shift is four times distance times angle, but for the tangent") {
    NightSettings night;
    night.lever.beam_angle_deg = 0;
    const NightTruth truth = play_night(night);
    // S = 4 D theta (law of reflection); tan x = x (1 + x^2/3), x = 0.016
    CHECK(truth.shift_mm == within_rel(4000 * 3.110 * truth.theta_plus_rad, 1e-4));
    CHECK(truth.theta_minus_rad == within_abs(-truth.theta_plus_rad, 1e-15));
  }

  TEST_CASE("a boom at rest stays at the equilibria that are stated, with their drift") {
    NightSettings night;
    night.balance.amplitude_decay_time_s = 300;
    night.swing.first_amplitude_mm = 0;
    night.swing.drift_mm_per_hour = 1;
    const NightTruth truth = play_night(night);
    REQUIRE(truth.segments.size() == 2);
    CHECK(truth.segments[1].side == Side::kMinus);
    CHECK(truth.segments[1].mid_s == 11250);
    // A damped boom follows a ramp late by c/kappa = 2 T0^2/(4 pi^2 tau) = 61 s here, 0.017 mm.
    for (const SegmentTruth& segment : truth.segments) {
      const TrackPoint& point = truth.track[static_cast<std::size_t>(segment.mid_s / 5)];
      CHECK(point.state.t_s == segment.mid_s);
      CHECK(point.place.x_mm == within_abs(segment.equilibrium.x_mm - 0.017, 0.002));
    }
  }

  TEST_CASE("the spot passes its equilibrium once in the damped period that is stated") {
    NightSettings night;
    night.swing.drift_mm_per_hour = 0;
    night.balance.amplitude_decay_time_s = 2000;  // undamped it would be 0.7 s less
    const NightTruth truth = play_night(night);
    const SegmentTruth& first = truth.segments[0];
    std::vector<double> upwards_s;
    for (std::size_t i = 1; truth.track[i].state.t_s < 5000; ++i) {
      const SwingState& from = truth.track[i - 1].state;
      const SwingState& to = truth.track[i].state;
      const double below_rad = first.equilibrium_rad - from.theta_rad;
      const double above_rad = to.theta_rad - first.equilibrium_rad;
      if (below_rad <= 0 || above_rad < 0) continue;
      upwards_s.push_back(from.t_s + below_rad / (below_rad + above_rad) * (to.t_s - from.t_s));
    }
    REQUIRE(upwards_s.size() > 6);
    const double mean_s =
        (upwards_s.back() - upwards_s.front()) / static_cast<double>(upwards_s.size() - 1);
    // Where a chord of 5 s passes zero is wrong by 5 s (2 pi 5/606)^2 / 15 = 0.001 s, and the pull
    // on a wide swing is uneven.
    CHECK(mean_s == within_abs(first.damped_period_s, 0.02));
    CHECK(first.damped_period_s - first.period_s > 0.5);
  }

  TEST_CASE("the default night fits on the scale and is still swinging at its end") {
    const NightSettings night;
    const NightTruth truth = play_night(night);
    REQUIRE(truth.track.size() == 3000);
    const auto [least, most] = std::ranges::minmax(
        truth.track, {}, [](const TrackPoint& point) { return point.place.x_mm; });
    CHECK(least.place.x_mm > 75);  // the whole path fits on 330 mm of the scale
    CHECK(most.place.x_mm < 405);
    double last_swing_mm = 0;
    for (std::size_t i = 2870; i < 3000; ++i) {
      last_swing_mm = std::max(
          last_swing_mm, std::abs(truth.track[i].place.x_mm - truth.segments[1].equilibrium.x_mm));
    }
    CHECK(last_swing_mm > 5);
  }

  TEST_CASE("the picture of the track is the camera's view of the wall") {
    NightSettings night;
    night.duration_s = 8000;
    const NightTruth truth = play_night(night);
    const CameraView view(night.camera);
    const TrackPoint& point = truth.track[777];
    CHECK(point.frame == 777);
    const WallPlace back = view.wall_from_pixel(point.pixel);
    CHECK(back.x_mm == within_abs(point.place.x_mm, 1e-9));
    CHECK(back.y_mm == within_abs(point.place.y_mm, 1e-9));
  }
}

}  // namespace
}  // namespace nightswing::demo
