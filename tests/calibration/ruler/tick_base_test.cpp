#include "calibration/ruler/tick_base.h"

#include <cmath>

#include <doctest/doctest.h>

#include "tests/calibration/ruler/drawn_ticks.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::draw;
using test::DrawnTicks;
using test::within_abs;

/// y of the base at a tick.
double base_y(const TickPattern& pattern, int i) {
  return pattern.grid.pixel_at(i, pattern.base_h_px).y;
}

}  // namespace

TEST_SUITE_BEGIN("tick_base");

TEST_CASE("a base guessed beside the strokes' ends is moved onto them") {
  const DrawnTicks ticks;
  for (const double off_px : {-2.5, 0.0, 2.0}) {
    CAPTURE(off_px);
    TickPattern rough = test::drawn_pattern(ticks, 10.0);
    rough.base_h_px += off_px;
    const TickPattern exact = with_exact_base(draw(ticks), rough);
    // Half depth of a blurred end is its place; smoothing over three rows and linear interpolation
    // leave a tenth of a pixel.
    for (const int i : {0, 35, 69}) CHECK(base_y(exact, i) == within_abs(ticks.edge_px, 0.2));
  }
}

TEST_CASE("a base that slopes along the ruler is followed") {
  DrawnTicks ticks;
  ticks.edge_slope = 0.006;
  TickPattern rough = test::drawn_pattern(ticks, 10.0);
  StrokeBand level = rough.grid.band();
  level.edge_per_px = 0.0;
  level.origin.y += ticks.edge_slope * 300.0;  // right in the middle, off by 1.6 px at the ends
  rough.grid = rough.grid.with_band(level);
  const TickPattern exact = with_exact_base(draw(ticks), rough);
  for (const int i : {3, 35, 66}) {
    CAPTURE(i);
    CHECK(base_y(exact, i) == within_abs(test::drawn_edge_px(ticks, i), 0.2));
  }
}

TEST_CASE("what is not the base stays as it was") {
  const DrawnTicks ticks;
  const TickPattern rough = test::drawn_pattern(ticks, 10.0);
  const TickPattern exact = with_exact_base(draw(ticks), rough);
  CHECK(exact.division == rough.division);
  CHECK(exact.end_h_px == rough.end_h_px);
  CHECK(exact.grid.pixel_at(12.0, 0.0).x == within_abs(rough.grid.pixel_at(12.0, 0.0).x, 1e-9));
}

TEST_CASE("where no strokes are the pattern is handed back") {
  const DrawnTicks ticks;
  const TickPattern rough = test::drawn_pattern(ticks, 10.0);
  const TickPattern same = with_exact_base(cv::Mat(ticks.size, CV_32F, cv::Scalar(150.0)), rough);
  CHECK(same.base_h_px == rough.base_h_px);
  CHECK(same.grid.band().edge_per_px == rough.grid.band().edge_per_px);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
