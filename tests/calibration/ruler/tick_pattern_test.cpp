#include "calibration/ruler/tick_pattern.h"

#include <cmath>
#include <utility>

#include <doctest/doctest.h>

#include "tests/calibration/ruler/drawn_ticks.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::draw;
using test::DrawnTicks;
using test::kGridDown_px;
using test::photographed;
using test::within_abs;

constexpr double kLeast_px = 2.3;

DrawnTicks decided_ticks() {
  return {.size = {640, 200}, .edge_px = 80.3};
}

PatternDecision decide(const DrawnTicks& ticks, double step = 1.0, double offset = 0.0) {
  const TickGrid counted = test::drawn_grid(ticks, kGridDown_px).recounted(step, offset);
  return decide_pattern(photographed(draw(ticks)), counted, kLeast_px);
}

}  // namespace

TEST_SUITE_BEGIN("tick_pattern");

TEST_CASE("a millimetre ruler is decided, with a longest tick at 0 and its ends as drawn") {
  const DrawnTicks ticks = decided_ticks();
  const PatternDecision decision = decide(ticks);
  REQUIRE(decision.status == PatternStatus::kDecided);
  const TickPattern& pattern = *decision.pattern;
  CHECK(pattern.division == Division::kMillimetre);
  CHECK(pattern.polarity == 1);
  CHECK(decision.division_px == within_abs(8.0, 0.01));
  const double tenths = (pattern.grid.pixel_at(0.0, 0.0).x - ticks.first_px) / 80.0;
  CHECK(tenths == within_abs(std::round(tenths), 0.005));
  // Ends where the depth falls to half, in rows of a pixel smoothed over three.
  CHECK(pattern.base_h_px == within_abs(-kGridDown_px, 0.3));
  REQUIRE(pattern.end_h_px.size() == 3);
  for (std::size_t k = 0; k < 3; ++k) {
    CHECK(pattern.end_h_px[k] == within_abs(ticks.lengths_px[k] - kGridDown_px, 0.4));
  }
}

TEST_CASE("it does not matter what the comb counts, nor where it begins") {
  for (const auto& count :
       {std::pair{1.0, 0.5}, std::pair{5.0, 0.3}, std::pair{2.0, 0.0}, std::pair{0.5, 0.25}}) {
    const double step = count.first;
    const double offset = count.second;
    CAPTURE(step);
    const PatternDecision decision = decide(decided_ticks(), step, offset);
    REQUIRE(decision.status == PatternStatus::kDecided);
    CHECK(decision.division_px == within_abs(8.0, 0.01));
  }
}

TEST_CASE("bright ticks on a dark ruler are known as such") {
  const DrawnTicks ticks = decided_ticks();
  const PatternDecision decision = decide_pattern(
      photographed(300.0 - draw(ticks)), test::drawn_grid(ticks, kGridDown_px), kLeast_px);
  REQUIRE(decision.status == PatternStatus::kDecided);
  CHECK(decision.pattern->polarity == -1);
}

TEST_CASE("equal strokes, and tenths alone, are no pattern") {
  DrawnTicks equal = decided_ticks();
  equal.lengths_px = {24.0, 24.0, 24.0};
  CHECK(decide(equal).status == PatternStatus::kNoPattern);
  DrawnTicks tenths = decided_ticks();
  tenths.lengths_px = {20.0, 20.0, 38.0};
  CHECK(decide(tenths).status != PatternStatus::kDecided);
}

TEST_CASE("divisions below the least length are not read") {
  const DrawnTicks ticks = decided_ticks();
  const PatternDecision decision =
      decide_pattern(photographed(draw(ticks)), test::drawn_grid(ticks, kGridDown_px), 9.0);
  CHECK(decision.status != PatternStatus::kDecided);
  CHECK_FALSE(decision.pattern);
}

TEST_CASE("a ruler whose count slips in the middle is not trusted") {
  // The right half is moved by three divisions: each half keeps its own count.
  const DrawnTicks ticks = decided_ticks();
  DrawnTicks moved = ticks;
  moved.first_px -= 24.0;
  moved.count += 3;
  cv::Mat values = draw(ticks);
  draw(moved).colRange(315, 640).copyTo(values.colRange(315, 640));
  const PatternDecision decision =
      decide_pattern(photographed(values), test::drawn_grid(ticks, kGridDown_px), kLeast_px);
  CHECK(decision.status != PatternStatus::kDecided);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
