#include "tracker/commands/argument_checks.h"

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using nightswing::InputError;
using nightswing::analysis::Side;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

TEST_SUITE("argument_checks") {
  TEST_CASE("a moment is a duration, or a wall-clock time when the start is known") {
    const auto start = parse_iso_time("2026-03-14T21:30:00Z");
    CHECK(moment_s("2h5m", {}) == within_abs(7500.0, 1e-9));
    CHECK(moment_s("2026-03-14T23:35:00Z", start) == within_abs(7500.0, 1e-6));
    CHECK_THROWS_AS(static_cast<void>(moment_s("2026-03-14T23:35:00Z", {})), InputError);
    CHECK_THROWS_AS(static_cast<void>(moment_s("soon", start)), InputError);
  }

  TEST_CASE("a side and its moment are read together") {
    const auto change = side_change_from("minus@2h5m", {});
    CHECK(change.side == Side::kMinus);
    CHECK(change.t_s == within_abs(7500.0, 1e-9));
    CHECK(side_change_from("away@0s", {}).side == Side::kAway);
    CHECK_THROWS_AS(static_cast<void>(side_change_from("left@0s", {})), InputError);
    CHECK_THROWS_AS(static_cast<void>(side_change_from("plus", {})), InputError);
  }

  TEST_CASE("the checks of the command line say what is expected") {
    std::string word = "5q";
    CHECK(duration_check()(word) == "'5q' is no duration above zero such as 5s, 90s or 2h30m");
    word = "0s";
    CHECK_FALSE(duration_check()(word).empty());
    word = "5s";
    CHECK(duration_check()(word).empty());
    word = "noon";
    CHECK(iso_time_check()(word) == "'noon' is no time such as 2026-03-14T21:30:00Z");
    word = "plus@0s";
    CHECK(side_check()(word).empty());
    word = "plus@";
    CHECK(side_check()(word) == "'plus@' is no side and moment such as plus@0s or minus@2h5m");
  }

  TEST_CASE("a target is a share of the value, and half of it is taken for a slip") {
    CHECK(target_share("1%") == within_rel(0.01, 1e-12));
    CHECK(target_share("0.5%") == within_rel(0.005, 1e-12));
    CHECK(target_share("0.02") == within_rel(0.02, 1e-12));
    for (const char* text : {"0.5", "50%", "0", "-1%", "much", "%"}) {
      CAPTURE(text);
      CHECK_THROWS_WITH_AS(static_cast<void>(target_share(text)),
                           doctest::Contains("at most 30 %, as in 1%, but is"),
                           nightswing::InputError);
    }
  }
}
