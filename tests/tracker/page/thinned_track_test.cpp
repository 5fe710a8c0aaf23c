#include "tracker/page/thinned_track.h"

#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

TEST_SUITE("thinned track") {
  TEST_CASE("the pictures of one step become their mean") {
    ThinnedTrack track(1.0, 10);
    track.add({0.2, 10.0, 1.0});
    track.add({0.6, 20.0, 3.0});
    track.add({1.5, 40.0, 5.0});
    const auto points = track.points();
    REQUIRE(points.size() == 2);
    CHECK(points[0].t_s == within_abs(0.4, 1e-12));  // rounding of three sums
    CHECK(points[0].x_px == within_abs(15.0, 1e-12));
    CHECK(points[0].y_px == within_abs(2.0, 1e-12));
    CHECK(points[1].x_px == 40.0);
  }

  TEST_CASE("a day of ten pictures a second stays within the points that were allowed") {
    constexpr std::size_t kMost = 512;
    ThinnedTrack track(1.0, kMost);
    std::size_t largest = 0;
    for (int k = 0; k < 864'000; ++k) {
      track.add({0.1 * k, 0.0, 0.0});
      if (k % 1000 == 0) largest = std::max(largest, track.points().size());
    }
    CHECK(largest <= kMost);
    CHECK(track.points().size() > kMost / 2 - 2);  // thinned no more than needed
    CHECK(track.step_s() == 256.0);  // the least power of two with 86400 s / step <= 512
  }

  TEST_CASE("thinning keeps every step's mean") {
    ThinnedTrack track(1.0, 16);
    for (int k = 0; k < 64; ++k) track.add({k + 0.5, static_cast<double>(k), 2.0 * k});
    const auto points = track.points();
    REQUIRE(track.step_s() == 4.0);
    REQUIRE(points.size() == 16);
    for (std::size_t n = 0; n < points.size(); ++n) {
      const double middle = 4.0 * static_cast<double>(n) + 1.5;  // mean of 4n .. 4n + 3
      CHECK(points[n].t_s == within_abs(middle + 0.5, 1e-12));
      CHECK(points[n].x_px == within_abs(middle, 1e-12));
      CHECK(points[n].y_px == within_abs(2.0 * middle, 1e-12));
    }
  }

  TEST_CASE("a night's swing can still be seen") {
    ThinnedTrack track;
    constexpr double kPeriod_s = 600.0;
    const auto swing = [&](double t_s) {
      return 100.0 * std::cos(2.0 * std::numbers::pi * t_s / kPeriod_s);
    };
    for (int t_s = 0; t_s < 43'200; ++t_s) track.add({t_s + 0.5, swing(t_s + 0.5), 0.0});
    // A mean over a step of h flattens a swing by (pi h / T)^2 / 6: 0.12 % for 16 s.
    REQUIRE(track.step_s() == 16.0);
    for (const TrackPoint& point : track.points()) {
      CHECK(point.x_px == within_abs(swing(point.t_s), 0.2));
    }
  }

  TEST_CASE("gaps stay gaps, and what comes from before is passed over") {
    ThinnedTrack track(1.0, 100);
    track.add({1.0, 1.0, 0.0});
    track.add({1000.0, 2.0, 0.0});
    track.add({500.0, 3.0, 0.0});
    CHECK(track.points().size() == 2);
    CHECK(track.points()[1].x_px == 2.0);
  }

  TEST_CASE("a step or a number of points that make no track are refused") {
    CHECK_THROWS_AS(ThinnedTrack(0.0, 10), std::invalid_argument);
    CHECK_THROWS_AS(ThinnedTrack(1.0, 1), std::invalid_argument);
  }
}
