// Whether one could bet on the uncertainties: over simulated nights with everything redrawn, the
// intervals hold the truth as often as they say. A thousand nights: swing_bench.
#include <cmath>
#include <cstdint>

#include <doctest/doctest.h>

#include "analysis/quantities/student_t.h"
#include "tests/support/near.h"
#include "tests/support/night_trial.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

TEST_SUITE("coverage") {
  TEST_CASE("intervals of G and of the shift hold the truth as often as they say") {
    constexpr int kNights = 25;
    int in_68 = 0;
    int in_95 = 0;
    int shift_in_68 = 0;
    int shift_in_95 = 0;
    int nights = 0;
    std::uint32_t seed = 5000;  // a new apparatus for each night
    for (const NightKind& kind : night_kinds()) {
      for (int k = 0; k < kNights; ++k) {
        const NightTrial trial = try_night(kind, seed++);
        CAPTURE(kind.name);
        CAPTURE(k);
        REQUIRE(trial.result.status == NightStatus::kMeasured);
        ++nights;
        const MonteCarloResult& drawn = trial.result.monte_carlo->result;
        const auto holds = [&](const Interval& interval) {
          return trial.true_g > interval.low && trial.true_g < interval.high;
        };
        in_68 += holds(drawn.symmetric_68) ? 1 : 0;
        in_95 += holds(drawn.symmetric) ? 1 : 0;
        const SwingFit& fit = trial.result.fit;
        // The lever of the measured apparatus scales the straightened shift by less than its u.
        const double shift_off = std::abs(fit.shift_mm.value - trial.true_shift_mm);
        const double shift_freedom = fit.degrees_of_freedom;
        shift_in_68 += shift_off < coverage_factor(0.6827, shift_freedom) * fit.shift_mm.u ? 1 : 0;
        shift_in_95 += shift_off < coverage_factor(0.95, shift_freedom) * fit.shift_mm.u ? 1 : 0;
      }
    }
    // 100 nights: binomial standard deviations of 4.7 and 2.2; three of those.
    CHECK(nights == 100);
    CHECK(in_68 == within_abs(68.0, 14.0));
    CHECK(in_95 == within_abs(95.0, 6.6));
    CHECK(shift_in_68 == within_abs(68.0, 14.0));
    CHECK(shift_in_95 == within_abs(95.0, 6.6));
  }
}
