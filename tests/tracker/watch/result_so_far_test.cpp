#include "tracker/watch/result_so_far.h"

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::analysis::Measured;
using nightswing::analysis::RunningResult;
using nightswing::analysis::RunningState;
using nightswing::analysis::Side;

namespace {

/// A shift of 20 mm known to 0.16 mm.
RunningResult known_shift() {
  return {.state = RunningState::kShift,
          .at_s = 9000.0,
          .side = Side::kMinus,
          .period_s = Measured{599.8, 0.7},
          .equilibrium_mm = Measured{90.0, 0.03},
          .shift_mm = Measured{20.0, 0.16},
          .seconds_to_target = 2400.0};
}

}  // namespace

TEST_SUITE("result_so_far") {
  TEST_CASE("it says how well the shift is known and how long more is needed") {
    const ResultSoFar r = result_so_far(known_shift(), LengthsIn::kMillimetres, 0.005);
    CHECK(r.sentence ==
          "shift 20.00(16) mm, known to 0.8 % now, another 40 min for 0.5 % if the sources stay");
    CHECK(r.at_s == 9000.0);
    REQUIRE(r.side);
    CHECK(r.side == Side::kMinus);
    CHECK(r.shift_mm == Measured{20.0, 0.16});
    CHECK(*r.shift_relative_u == within_rel(0.008, 1e-12));  // 0.16/20, rounding
    CHECK(*r.hours_to_target == within_rel(2.0 / 3.0, 1e-12));
  }

  TEST_CASE("a target that is reached, or that staying does not reach, is told") {
    RunningResult r = known_shift();
    r.seconds_to_target = 0.0;
    CHECK(result_so_far(r, LengthsIn::kMillimetres, 0.01).sentence ==
          "shift 20.00(16) mm, known to 0.8 % now: the 1 % wanted are reached");
    r.seconds_to_target.reset();
    CHECK(result_so_far(r, LengthsIn::kMillimetres, 0.001).sentence.find("move them again") !=
          std::string::npos);
    r.equilibrium_mm.reset();
    CHECK(result_so_far(r, LengthsIn::kMillimetres, 0.001).sentence.find("moved just now") !=
          std::string::npos);
  }

  TEST_CASE("without a wall the percentage stands and no length is claimed") {
    const ResultSoFar r = result_so_far(known_shift(), LengthsIn::kPixels, 0.005);
    CHECK_FALSE(r.shift_mm);
    CHECK_FALSE(r.equilibrium_mm);
    CHECK(r.period_s);
    CHECK(*r.shift_relative_u == within_rel(0.008, 1e-12));
    CHECK(r.sentence ==
          "shift known to 0.8 % now, another 40 min for 0.5 % if the sources stay (in pixels: the "
          "wall is not calibrated)");
  }

  TEST_CASE("a shift within its uncertainty is not called one") {
    RunningResult r = known_shift();
    r.shift_mm = Measured{0.3, 0.16};
    CHECK(result_so_far(r, LengthsIn::kMillimetres, 0.01).sentence ==
          "no shift stands out yet (0.30(16) mm)");
  }

  TEST_CASE("what is not known yet is left out, and why") {
    for (const auto& [state, words] :
         {std::pair{RunningState::kTooFew, "too few positions for an estimate yet"},
          std::pair{RunningState::kNoSwing,
                    "no swing with one period stands out of the scatter so far"},
          std::pair{RunningState::kTooShort,
                    "less than a whole period of one segment watched: no estimate yet"}}) {
      const ResultSoFar r =
          result_so_far({.state = state, .at_s = 30.0}, LengthsIn::kMillimetres, 0.01);
      CHECK(r.sentence == words);
      CHECK_FALSE(r.side);
      CHECK_FALSE(r.period_s);
      CHECK_FALSE(r.shift_relative_u);
      CHECK_FALSE(r.hours_to_target);
    }
    RunningResult one = known_shift();
    one.state = RunningState::kOneSide;
    one.shift_mm.reset();
    one.seconds_to_target.reset();
    one.warnings = {"a mark is missing"};
    CHECK(result_so_far(one, LengthsIn::kMillimetres, 0.01).sentence ==
          "period 599.80(70) s; a shift needs a whole period on each side; a mark is missing");
  }
}
