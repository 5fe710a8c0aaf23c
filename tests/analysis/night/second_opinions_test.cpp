#include "analysis/night/second_opinions.h"

#include <algorithm>
#include <cmath>

#include <doctest/doctest.h>

#include "analysis/night/blinding.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"
#include "tests/support/night_trial.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

const NightKind& four_sides() {
  return night_kinds().back();
}

bool starts_with(const Opinion& opinion, std::string_view text) {
  return opinion.method.starts_with(text);
}

/// From begin_s until end_s the spot lies that much beside where the swing has it.
NightResult displaced(const DrivenNight& swing,
                      double begin_s,
                      double end_s,
                      double by_mm,
                      const Apparatus& balance = reference_balance()) {
  Night night;
  for (const SwingSample& s : make_driven(swing).samples) {
    const double x_mm = s.x_mm + (s.t_s >= begin_s && s.t_s < end_s ? by_mm : 0.0);
    night.samples.push_back({s.t_s, x_mm, 35.0, s.u_mm, s.u_mm});
  }
  night.sides = swing.sides;
  return analyse_night(night, balance, {.settle_s = 0.0, .monte_carlo_trials = 0});
}

NightResult analysed(const DrivenNight& swing) {
  return displaced(swing, 0.0, swing.end_s, 0.0);
}

std::ptrdiff_t warnings_of_ways(const NightResult& result) {
  return std::ranges::count_if(result.warnings, [](const std::string& warning) {
    return warning.starts_with("G by other ways differs by");
  });
}

}  // namespace

TEST_SUITE("second_opinions") {
  TEST_CASE("a night of four sides has three pairs and least squares, and they agree") {
    const NightTrial trial = try_night(four_sides(), 42);
    REQUIRE(trial.result.status == NightStatus::kMeasured);
    const Consistency& c = trial.result.consistency;
    CHECK(std::ranges::count_if(c.opinions,
                                [](const Opinion& o) { return starts_with(o, "segments"); }) == 3);
    CHECK(std::ranges::count_if(c.opinions, [](const Opinion& o) {
            return starts_with(o, "shift by least squares");
          }) == 1);
    CHECK(c.freedom == 2);
    CHECK(c.consistent);
    CHECK(c.statement.starts_with("the ways agree"));
    CHECK(trial.result.warnings.empty());
    for (const Opinion& o : c.opinions) {
      CAPTURE(o.method);
      // Masses and lengths are off by up to a per cent or two, in all ways alike.
      CHECK(o.g_m3_kg_s2.value == within_rel(trial.result.gravity->g_m3_kg_s2, 0.03));
      CHECK(o.g_m3_kg_s2.u > 0.0);
    }
  }

  TEST_CASE("a pair that disagrees is called so, and warned of") {
    // From the third segment on the plus side rests 3 mm elsewhere: somebody moved a source.
    DrivenNight swing = four_sides().night;
    swing.kicks = 0;
    swing.slow_mm = 0.0;
    swing.seed = 9;
    const NightResult result = displaced(swing, 3600.0, 5400.0, 3.0);
    REQUIRE(result.status == NightStatus::kMeasured);
    CHECK_FALSE(result.consistency.consistent);
    CHECK(
        result.consistency.statement.starts_with("the ways differ by more than the night's noise"));
    CHECK(warnings_of_ways(result) == 1);

    // Where the lengths leave G in doubt by 10 %, what these ways differ by does not matter.
    Apparatus rough = reference_balance();
    rough.separation_m->u = 0.05 * rough.separation_m->value;
    const NightResult felt_less = displaced(swing, 3600.0, 5400.0, 3.0, rough);
    REQUIRE(felt_less.status == NightStatus::kMeasured);
    CHECK_FALSE(felt_less.consistency.consistent);
    CHECK(warnings_of_ways(felt_less) == 0);
  }

  TEST_CASE("a knock of 5 mm that nothing recorded is in the uncertainty of G, or warned of") {
    DrivenNight swing = night_kinds().front().night;
    swing.seed = 21;
    const NightResult quiet = analysed(swing);
    REQUIRE(quiet.status == NightStatus::kMeasured);
    for (const double knock_s : {900.0, 1800.0, 2700.0, 4500.0, 5400.0, 6300.0}) {
      CAPTURE(knock_s);
      const NightResult result = displaced(swing, knock_s, swing.end_s, 5.0);
      REQUIRE(result.status == NightStatus::kMeasured);
      CAPTURE(result.shift_mm.value);
      CAPTURE(result.consistency.statement);
      // 5 mm are 5.8 % of the shift, some fifty times what the quiet night leaves in doubt.
      const double off = std::abs(result.gravity->g_m3_kg_s2 - 6.6743e-11);
      CHECK((off < 3.0 * result.budget->u || warnings_of_ways(result) == 1));
      CHECK(result.budget->u > 3.0 * quiet.budget->u);
    }
  }

  TEST_CASE("the period with the sources away leads to the same G") {
    // The reference balance: 540 s free, 545.118407 s beside the sources (two independent routes).
    DrivenNight swing = four_sides().night;
    swing.kicks = 0;
    swing.slow_mm = 0.0;
    swing.torque_mm = 0.05;
    swing.white_mm = 0.1;
    swing.drift_mm_per_hour = 0.0;
    const double g = swing.damping_per_s;
    swing.away_period_s =
        2.0 * 3.14159265358979 / std::sqrt(std::pow(2.0 * 3.14159265358979 / 540.0, 2) - g * g);
    swing.away_mm = 200.0;
    swing.end_s = 9000.0;
    swing.sides = {{Side::kPlus, 0.0}, {Side::kAway, 3000.0}, {Side::kMinus, 6000.0}};
    const NightResult result = analysed(swing);
    REQUIRE(result.status == NightStatus::kMeasured);
    const auto away = std::ranges::find_if(result.consistency.opinions, [](const Opinion& o) {
      return starts_with(o, "period with the sources away");
    });
    REQUIRE(away != result.consistency.opinions.end());
    // Mixing up the two periods would be 1.9 % off.
    CHECK(away->g_m3_kg_s2.u < 0.005 * 6.6743e-11);
    CHECK(std::abs(away->g_m3_kg_s2.value - 6.6743e-11) < 4.0 * away->g_m3_kg_s2.u);
  }
}

TEST_SUITE("blinding") {
  TEST_CASE("every G is multiplied and everything relative stays") {
    const NightTrial trial = try_night(four_sides(), 42);
    REQUIRE(trial.result.status == NightStatus::kMeasured);
    NightResult blinded = trial.result;
    blind(blinded, 1.07);
    CHECK(blinded.blinded);
    const double g = trial.result.gravity->g_m3_kg_s2;
    CHECK(blinded.gravity->g_m3_kg_s2 == within_rel(1.07 * g, 1e-14));
    CHECK(blinded.budget->u / blinded.budget->value ==
          within_rel(trial.result.budget->u / trial.result.budget->value, 1e-14));
    CHECK(blinded.budget->rows[0].share == trial.result.budget->rows[0].share);
    CHECK(blinded.interval_95.low == within_rel(1.07 * trial.result.interval_95.low, 1e-14));
    CHECK(blinded.monte_carlo->result.shortest.high ==
          within_rel(1.07 * trial.result.monte_carlo->result.shortest.high, 1e-14));
    CHECK(blinded.consistency.opinions[0].g_m3_kg_s2.value ==
          within_rel(1.07 * trial.result.consistency.opinions[0].g_m3_kg_s2.value, 1e-14));
    CHECK(blinded.gravity->textbook_m3_kg_s2 ==
          within_rel(1.07 * trial.result.gravity->textbook_m3_kg_s2, 1e-14));
    CHECK(blinded.shift_mm.value == trial.result.shift_mm.value);
  }
}
