#include "analysis/positions/side_changes.h"

#include <cmath>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>

#include "tests/support/near.h"
#include "tests/support/synthetic_swing.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

FoundSides found_in(const std::vector<SwingSample>& samples) {
  const auto start = scan_period(samples);
  REQUIRE(start);
  return find_sides(samples, *start);
}

}  // namespace

TEST_SUITE("side_changes") {
  TEST_CASE("one move is found to within half a minute, for large and small shifts") {
    for (const double shift_mm : {100.0, 20.0, 5.0}) {
      CAPTURE(shift_mm);
      const auto found =
          found_in(make_night({.segments = {{0.0, 0.0, 40.0, 0.3}, {7213.0, shift_mm, 42.0, 2.0}},
                               .end_s = 15000.0,
                               .noise_mm = 0.1,
                               .drift_mm_per_hour = 0.3}));
      REQUIRE(found.changes.size() == 2);
      CHECK(found.changes[0].side == Side::kMinus);
      CHECK(found.changes[1].side == Side::kPlus);
      CHECK(found.changes[1].t_s == within_abs(7213.0, 30.0));
      CHECK(found.disturbances_s.empty());
    }
  }

  TEST_CASE("four moves are found and alternate") {
    const auto found = found_in(make_night({.segments = {{0.0, 0.0, 40.0, 0.3},
                                                         {3000.0, 60.0, 42.0, 2.0},
                                                         {6500.0, 0.0, 30.0, 1.0},
                                                         {9100.0, 60.0, 35.0, 4.0},
                                                         {12000.0, 0.0, 33.0, 0.0}},
                                            .end_s = 15000.0,
                                            .noise_mm = 0.1}));
    REQUIRE(found.changes.size() == 5);
    const double times[] = {0.0, 3000.0, 6500.0, 9100.0, 12000.0};
    for (std::size_t k = 0; k < 5; ++k) {
      CHECK(found.changes[k].t_s == within_abs(times[k], 30.0));
      CHECK(found.changes[k].side == (k % 2 == 0 ? Side::kMinus : Side::kPlus));
    }
  }

  TEST_CASE("a knock is a disturbance, not a move") {
    const auto found = found_in(make_night(
        {.segments = {{0.0, 0.0, 40.0, 0.3}, {4000.0, 0.0, 25.0, 3.0}, {7500.0, 50.0, 42.0, 2.0}},
         .end_s = 15000.0,
         .noise_mm = 0.1}));
    CHECK(found.changes.size() == 2);
    REQUIRE(found.disturbances_s.size() == 1);
    CHECK(found.disturbances_s[0] == within_abs(4000.0, 60.0));
  }

  TEST_CASE("a night without a move has none, drift or not") {
    for (const double drift : {0.0, 2.0}) {
      for (const double noise : {0.0, 0.02, 1.0}) {
        CAPTURE(drift);
        CAPTURE(noise);
        const auto found = found_in(make_night({.segments = {{0.0, 0.0, 40.0, 0.3}},
                                                .end_s = 15000.0,
                                                .noise_mm = noise,
                                                .drift_mm_per_hour = drift}));
        CHECK(found.changes.size() == 1);
        CHECK(found.message == "the track shows no move of the source masses");
      }
    }
  }

  TEST_CASE("without a period there is nothing to look for: that is the caller's bug") {
    const std::vector<SwingSample> track(100, {0.0, 1.0, 0.1});
    CHECK_THROWS_AS(static_cast<void>(find_sides(track, SwingStart{0.0, 0.0, 1.0, 1.0})),
                    std::invalid_argument);
  }

  TEST_CASE("false readings do not make moves") {
    auto samples = make_night({.segments = {{0.0, 0.0, 40.0, 0.3}, {7213.0, 20.0, 42.0, 2.0}},
                               .end_s = 15000.0,
                               .noise_mm = 0.1});
    for (std::size_t i = 100; i < samples.size(); i += 211) samples[i].x_mm += 30.0;
    const auto found = found_in(samples);
    CHECK(found.changes.size() == 2);
    CHECK(found.disturbances_s.empty());
  }
}
