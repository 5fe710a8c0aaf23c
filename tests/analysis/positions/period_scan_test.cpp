#include "analysis/positions/period_scan.h"

#include <random>

#include <doctest/doctest.h>

#include "analysis/night/night.h"
#include "tests/support/driven_swing.h"
#include "tests/support/near.h"
#include "tests/support/synthetic_swing.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

TEST_SUITE("period_scan") {
  TEST_CASE("the period is found across moves, damping values and sampling") {
    for (const double period_s : {90.0, 333.0, 600.0, 1500.0}) {
      for (const double quality : {4.0, 30.0}) {
        CAPTURE(period_s);
        CAPTURE(quality);
        SyntheticNight night{.segments = {{0.0, 0.0, 30.0, 0.5}, {6100.0, 80.0, 25.0, 2.5}},
                             .end_s = 12000.0,
                             .period_s = period_s,
                             .damping_per_s = 3.14159265 / (quality * period_s),
                             .noise_mm = 0.3};
        const auto start = scan_period(make_night(night));
        REQUIRE(start);
        // A start value: the fit converges from 5 % away.
        CHECK(start->period_s == within_rel(period_s, 0.03));
        CHECK(start->explained > 0.8);
      }
    }
  }

  TEST_CASE("a swing read at uneven times has the period that it has at even ones") {
    const SyntheticNight night{.segments = {{0.0, 0.0, 30.0, 0.5}},
                               .end_s = 6000.0,
                               .every_s = 4.0,
                               .period_s = 612.0,
                               .damping_per_s = 1e-4,
                               .noise_mm = 0.0};
    const auto even = make_night(night);
    auto uneven = even;
    std::mt19937 random(3);
    std::erase_if(uneven, [&random](const SwingSample&) { return random() % 3 == 0; });
    const auto of_even = scan_period(even);
    const auto of_uneven = scan_period(uneven);
    REQUIRE(of_even);
    REQUIRE(of_uneven);
    // Without noise both fit exactly; the last steps of the search are 2e-5 of the period.
    CHECK(of_even->period_s == within_rel(612.0, 1e-4));
    CHECK(of_uneven->period_s == within_rel(612.0, 1e-4));
  }

  TEST_CASE("known moves after every period and a half are not taken for a slow wave") {
    DrivenNight night{.sides = {{Side::kPlus, 0.0}, {Side::kMinus, 848.5}, {Side::kPlus, 1697.0}},
                      .plus_mm = 243.4,
                      .minus_mm = 156.6,
                      .end_s = 2545.0,
                      .period_s = 548.0,
                      .damping_per_s = 1.0 / 1800.0,
                      .start_mm = 30.0,
                      .torque_mm = 0.5};
    const auto samples = make_driven(night).samples;
    const auto start = scan_period(samples, night.sides);
    REQUIRE(start);
    CHECK(start->period_s == within_rel(night.period_s, 0.03));
    const SwingFit fit =
        fit_swing(samples, segments_between(night.sides, night.end_s, 0.0), *start);
    CHECK(fit.shift_mm.value == within_abs(86.8, 4.0 * fit.shift_mm.u));
    CHECK(fit.shift_mm.u < 0.5);
  }

  TEST_CASE("two periods a side are enough where the moves are marked") {
    // 25 min on either side of a balance of ten minutes, the shift larger than the swing: three
    // periods in a row always hold the move, which is no swing.
    const SyntheticNight night{.segments = {{0.0, 326.0, 38.0, 0.0}, {1500.0, 225.0, 70.0, 1.0}},
                               .end_s = 3000.0,
                               .every_s = 1.0,
                               .period_s = 606.0};
    const std::vector<SideChange> moves{{Side::kPlus, 0.0}, {Side::kMinus, 1500.0}};
    const auto start = scan_period(make_night(night), moves);
    REQUIRE(start);
    CHECK(start->period_s == within_rel(606.0, 0.03));  // the fit converges from 5 % away
    // A mark that is wrong by hours does no harm to a night that is long enough.
    const SyntheticNight longer{.segments = {{0.0, 326.0, 38.0, 0.0}}, .end_s = 6000.0};
    const std::vector<SideChange> wrong{{Side::kPlus, -900.0}, {Side::kMinus, 90000.0}};
    const auto found = scan_period(make_night(longer), wrong);
    REQUIRE(found);
    CHECK(found->period_s == within_rel(600.0, 0.03));
  }

  TEST_CASE("four to eight photographs a period are enough, marked moves or not") {
    for (const double every_s : {75.0, 120.0, 150.0}) {
      CAPTURE(every_s);
      const SyntheticNight night{.segments = {{0.0, 0.0, 50.0, 0.3}, {7200.0, 100.0, 60.0, 0.0}},
                                 .end_s = 14400.0,
                                 .every_s = every_s,
                                 .period_s = 606.0,
                                 .noise_mm = 0.1};
      const auto samples = make_night(night);
      const std::vector<SideChange> moves{{Side::kPlus, 0.0}, {Side::kMinus, 7200.0}};
      for (const auto& found : {scan_period(samples), scan_period(samples, moves)}) {
        REQUIRE(found);
        // A start value, as above.
        CHECK(found->period_s == within_rel(606.0, 0.03));
      }
    }
  }

  TEST_CASE("noise alone, a straight line and a handful of readings have no swing") {
    std::mt19937 generator(3);
    std::normal_distribution<double> noise(0.0, 1.0);
    std::vector<SwingSample> still;
    std::vector<SwingSample> line;
    for (int i = 0; i < 1500; ++i) {
      still.push_back({5.0 * i, noise(generator), 1.0});
      line.push_back({5.0 * i, 0.01 * i + 0.1 * noise(generator), 0.1});
    }
    CHECK_FALSE(scan_period(still));
    CHECK_FALSE(scan_period(line));
    CHECK_FALSE(scan_period(std::vector<SwingSample>(11, SwingSample{0.0, 0.0, 1.0})));
  }

  TEST_CASE("few readings of noise have no swing either") {
    std::mt19937 generator(5);
    std::normal_distribution<double> noise(0.0, 1.0);
    for (const int readings : {45, 80, 160}) {
      for (int night = 0; night < 25; ++night) {
        CAPTURE(readings);
        CAPTURE(night);
        std::vector<SwingSample> still;
        for (int i = 0; i < readings; ++i) still.push_back({75.0 * i, noise(generator), 1.0});
        CHECK_FALSE(scan_period(still));
      }
    }
  }
}
