#include "tracker/swing_pace.h"

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

/// 3000 frames of a swing, and a quicker wobble on it.
SwingPace pace_of(double period_s, double amplitude_px, double wobble_px, double frames_per_s) {
  SwingPace pace;
  std::mt19937_64 random(1);
  std::normal_distribution<double> noise(0.0, 0.05);
  for (int k = 0; k < 3000; ++k) {
    const double t_s = k / frames_per_s;
    const double along_px = amplitude_px * std::exp(-t_s / (9 * period_s)) *
                                std::cos(2 * std::numbers::pi * t_s / period_s) +
                            wobble_px * std::sin(2 * std::numbers::pi * t_s / 1.7) + noise(random);
    pace.see({.utc = {},
              .t_s = t_s,
              .spot = {SpotState::kFound,
                       SpotPosition{400 + along_px, 200 + 0.1 * along_px, 0.05, 0.05, 90, 4}}});
  }
  return pace;
}

}  // namespace

TEST_SUITE("swing_pace") {
  TEST_CASE("a ten-minute swing at a frame every 5 s, played at 25 a second, is seen through") {
    const auto period_s = pace_of(4.8, 60, 0, 25).impossible_period_s();
    REQUIRE(period_s);
    CHECK(*period_s == within_rel(4.8, 0.03));
  }

  TEST_CASE("so is one in which the sources are moved, whenever and however often") {
    // Closed form of the answer to a step: 1 - exp(-g s) (cos w s + (g/w) sin w s).
    const double omega = 2 * std::numbers::pi / 4.8;
    const double damping = 1.0 / (9 * 4.8);
    for (const std::vector<double>& moves_s :
         {std::vector{60.0}, std::vector{30.0}, std::vector{95.0}, std::vector{40.0, 80.0}}) {
      SwingPace pace;
      std::mt19937_64 random(2);
      std::normal_distribution<double> noise(0.0, 0.05);
      for (int k = 0; k < 3000; ++k) {
        const double t_s = k / 25.0;
        double x_px = 500 + 100 * std::exp(-damping * t_s) * std::cos(omega * t_s) + noise(random);
        double shift_px = -250;
        for (const double move_s : moves_s) {
          const double s = t_s - move_s;
          if (s > 0.0) {
            x_px +=
                shift_px * (1 - std::exp(-damping * s) *
                                    (std::cos(omega * s) + damping / omega * std::sin(omega * s)));
          }
          shift_px = -shift_px;
        }
        pace.see({.utc = {},
                  .t_s = t_s,
                  .spot = {SpotState::kFound, SpotPosition{x_px, 200, 0.05, 0.05, 90, 4}}});
      }
      const auto period_s = pace.impossible_period_s();
      REQUIRE(period_s);
      CHECK(*period_s == within_rel(4.8, 0.05));
    }
  }

  TEST_CASE("a film in real time is none, whole, in part, at rest, or with a wobbling boom") {
    CHECK_FALSE(pace_of(300, 60, 0, 5).impossible_period_s());
    CHECK_FALSE(pace_of(600, 60, 0, 25).impossible_period_s());  // a fifth of a period
    CHECK_FALSE(pace_of(600, 60, 3, 25).impossible_period_s());
    CHECK_FALSE(pace_of(600, 0, 0, 25).impossible_period_s());
    CHECK_FALSE(pace_of(60, 20, 0, 10).impossible_period_s());
    CHECK_FALSE(SwingPace().impossible_period_s());
  }

  TEST_CASE("frames without a spot say nothing") {
    SwingPace pace;
    for (int k = 0; k < 100; ++k) {
      pace.see({.utc = {}, .t_s = 0.1 * k, .spot = {SpotState::kLost, std::nullopt}});
    }
    CHECK_FALSE(pace.impossible_period_s());
  }
}
