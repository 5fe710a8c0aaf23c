#include "analysis/positions/mark_check.h"

#include <doctest/doctest.h>

#include "analysis/night/night.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/driven_swing.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

constexpr Segment kWatched{Side::kPlus, 0.0, 14400.0};

FoundSides found_at(const std::vector<double>& moves_s) {
  FoundSides found;
  found.u_time_s = 60.0;
  found.changes.push_back({Side::kPlus, 0.0});
  for (const double t_s : moves_s) {
    const bool plus = found.changes.back().side == Side::kPlus;
    found.changes.push_back({plus ? Side::kMinus : Side::kPlus, t_s});
  }
  return found;
}

std::vector<std::string> check(const std::vector<SideChange>& marks, const FoundSides& found) {
  return contradicted_marks(marks, found, kWatched, 600.0, 60.0);
}

/// Four hours, the sources moved at two; analysed with marks of our own.
NightResult with_marks(const std::vector<SideChange>& marks) {
  DrivenNight swing;
  swing.torque_mm = 0.2;
  swing.end_s = 14400.0;
  swing.sides[1].t_s = 7200.0;
  Night night;
  for (const SwingSample& s : make_driven(swing).samples) {
    night.samples.push_back({s.t_s, s.x_mm, 35.0, s.u_mm, s.u_mm});
  }
  night.sides = marks;
  return analyse_night(night, reference_balance(), {.monte_carlo_trials = 0});
}

}  // namespace

TEST_SUITE("mark_check") {
  TEST_CASE("marks beside the moves that were found are not contradicted") {
    CHECK(check({{Side::kPlus, 0.0}, {Side::kMinus, 7200.0}}, found_at({7250.0})).empty());
    CHECK(check({{Side::kPlus, 0.0}}, found_at({})).empty());
  }

  TEST_CASE("a mark minutes away from the move is named with the time found") {
    const auto sentences = check({{Side::kPlus, 0.0}, {Side::kMinus, 7200.0}}, found_at({7500.0}));
    REQUIRE(sentences.size() == 1);
    CHECK(sentences[0] ==
          "side minus was marked at 7200 s, but the rest position changes at 7500 s (within about "
          "60 s), 5.0 minutes later; if the sources were moved then, withdraw the mark and set it "
          "there");
  }

  TEST_CASE("a mark without any move, and a move without a mark, are named") {
    const auto lone = check({{Side::kPlus, 0.0}, {Side::kMinus, 7200.0}}, found_at({}));
    REQUIRE(lone.size() == 1);
    CHECK(lone[0].find("marked at 7200 s, but the track shows no change") != std::string::npos);
    const auto forgotten =
        check({{Side::kPlus, 0.0}, {Side::kMinus, 7200.0}}, found_at({7200.0, 10800.0}));
    REQUIRE(forgotten.size() == 1);
    CHECK(forgotten[0].find("changes at 10800 s") != std::string::npos);
  }

  TEST_CASE("moves to and from away, and marks at the ends of the track, are not judged") {
    CHECK(check({{Side::kPlus, 0.0}, {Side::kAway, 3600.0}, {Side::kMinus, 7200.0}}, found_at({}))
              .empty());
    CHECK(check({{Side::kPlus, 0.0}, {Side::kMinus, 14000.0}}, found_at({})).empty());
  }

  TEST_CASE("a move minutes ago, marked, is not found somewhere else") {
    // The watch looks again and again: at each moment after the move the marks are right.
    DrivenNight swing;
    swing.plus_mm = 150.0;
    swing.minus_mm = 50.0;
    swing.start_mm = 50.0;
    swing.sides[1].t_s = 1500.0;
    swing.end_s = 2400.0;
    const auto samples = make_driven(swing).samples;
    for (double now_s = 1600.0; now_s < 2400.0; now_s += 50.0) {
      CAPTURE(now_s);
      std::vector<SwingSample> until;
      for (const SwingSample& s : samples) {
        if (s.t_s < now_s) until.push_back(s);
      }
      const SwingStart start{.period_s = 600.0,
                             .damping_per_s = swing.damping_per_s,
                             .explained = 0.99,
                             .residual_mm = swing.white_mm};
      const auto sentences = contradicted_marks(swing.sides,
                                                find_sides(until, start),
                                                {Side::kPlus, until.front().t_s, until.back().t_s},
                                                start.period_s,
                                                60.0);
      CHECK_MESSAGE(sentences.empty(), sentences.front());
    }
  }

  TEST_CASE("a night whose mark is ten minutes late says when the rest position changed") {
    const NightResult right = with_marks({{Side::kPlus, 0.0}, {Side::kMinus, 7200.0}});
    CHECK(right.warnings.empty());
    const NightResult late = with_marks({{Side::kPlus, 0.0}, {Side::kMinus, 7800.0}});
    REQUIRE(late.warnings.size() == 1);
    CHECK(late.warnings[0].find("side minus was marked at 7800 s") == 0);
    CHECK(late.warnings[0].find("minutes earlier") != std::string::npos);
  }

  TEST_CASE("a move that nobody marked is timed by the fall of the spot") {
    const NightResult found = with_marks({});
    REQUIRE(found.status == NightStatus::kMeasured);
    REQUIRE(found.sides.size() == 2);
    REQUIRE(found.moves.size() == 1);
    const Measured& t_s = found.moves[0].t_s;
    CHECK(t_s.u < 5.0);
    CHECK(std::abs(t_s.value - 7200.0) < 4.0 * t_s.u + 0.5);  // half of the simulator's step
    CHECK(std::abs(found.sides[1].t_s - 7200.0) < 4.0 * t_s.u + 0.5);
    CHECK(found.sides_from.find("by the fall of the spot") != std::string::npos);
  }
}
