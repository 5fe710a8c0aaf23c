#include "calibration/ruler/tick_grid.h"

#include <algorithm>
#include <cmath>

#include <doctest/doctest.h>

#include "tests/calibration/ruler/drawn_ticks.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::draw;
using test::DrawnTicks;
using test::within_abs;
using test::within_rel;

/// A ruler whose count runs by the projective law.
constexpr TickComb kSlanting{.centre_px = 300.0,
                             .half_span_px = 250.0,
                             .a = 40.0,
                             .b = 3.0,
                             .c = 0.3,
                             .from_px = 50.0,
                             .to_px = 550.0};

}  // namespace

TEST_SUITE_BEGIN("tick_grid");

TEST_CASE("straight on, ticks stand a division apart and h is in pixels") {
  const DrawnTicks ticks;
  const TickGrid grid = test::drawn_grid(ticks, 10.0);
  CHECK(grid.first() == 0);
  CHECK(grid.last() == 69);
  CHECK(grid.count() == 70);
  CHECK(grid.division_px() == within_rel(8.0, 1e-9));
  for (const int i : {0, 33, 69}) {
    const cv::Point2d p = grid.pixel_at(i, 4.0);
    CHECK(p.x == within_abs(ticks.first_px + 8.0 * i, 1e-9));
    CHECK(p.y == within_abs(ticks.edge_px + 14.0, 1e-9));
    CHECK(grid.t_per_h(i) == within_rel(1.0, 1e-9));
  }
}

TEST_CASE("a tick lies where the comb counts its number") {
  const TickGrid grid({.origin = {0.0, 80.0}}, kSlanting, 2.0, 0.25);
  for (int i = grid.first(); i <= grid.last(); ++i) {
    CHECK(count_at(kSlanting, grid.s_px(i)) == within_abs(2.0 * (i + 0.25), 1e-9));
    CHECK(grid.s_px(i) >= kSlanting.from_px - 1e-6);
    CHECK(grid.s_px(i) <= kSlanting.to_px + 1e-6);
  }
}

TEST_CASE("the comb's own small lens term does not displace a tick") {
  TickComb bent = kSlanting;
  bent.e = -0.8;
  const TickGrid grid({.origin = {0.0, 80.0}}, bent, 1.0, 0.0);
  for (int i = grid.first(); i <= grid.last(); ++i) {
    CHECK(count_at(bent, grid.s_px(i)) == within_abs(i, 1e-9));
  }
}

TEST_CASE("along a ruler in perspective, heights go as one over 1 + c z") {
  const TickGrid grid({.origin = {0.0, 80.0}}, kSlanting, 1.0, 0.0);
  const auto depth_at = [&](double x) {
    return 1.0 / (1.0 + kSlanting.c * (grid.s_px(x) - 300.0) / 250.0);
  };
  // ds/dx of the projective law is proportional to (1 + c z)^2, so its root is to 1 + c z; h = t /
  // (1 + c z) is one in the middle.
  const double middle = 1.0 + kSlanting.c * 0.0;
  for (const int i : {-30, 0, 25}) {
    CAPTURE(i);
    CHECK(grid.t_per_h(i) == within_rel(middle / depth_at(i), 1e-9));
  }
}

TEST_CASE("recounting takes parts or multiples of the divisions from another beginning") {
  const TickGrid grid = test::drawn_grid({}, 0.0);
  const TickGrid halves = grid.recounted(0.5, 0.0);
  CHECK(halves.division_px() == within_rel(4.0, 1e-9));
  CHECK(halves.s_px(7.0) == within_abs(grid.s_px(3.5), 1e-9));
  const TickGrid fives = grid.recounted(5.0, 0.4);
  CHECK(fives.s_px(2.0) == within_abs(grid.s_px(12.0), 1e-9));
  const TickGrid again = fives.recounted(0.2, -2.0);
  CHECK(again.s_px(12.0) == within_abs(grid.s_px(12.0), 1e-9));
}

TEST_CASE("straightened rows show each tick in the middle of its division") {
  const DrawnTicks ticks;
  const TickGrid grid = test::drawn_grid(ticks, 10.0);
  constexpr int kPer = 16;
  const cv::Mat rows = straightened(draw(ticks), grid, 30, kPer);
  REQUIRE(rows.rows == 61);
  REQUIRE(rows.cols == 70 * kPer);
  for (const int i : {1, 35, 68}) {
    const float* row = rows.ptr<float>(30);  // h = 0: 10 px below the edge
    int darkest = i * kPer;
    for (int j = i * kPer; j < (i + 1) * kPer; ++j) {
      if (row[j] < row[darkest]) darkest = j;
    }
    CHECK(std::abs(darkest - (i * kPer + kPer / 2)) <= 1);
    // Ink of depth 120 on a ground of 200; what interpolation takes off the peak is a few per cent.
    CHECK(static_cast<double>(row[darkest]) == within_abs(80.0, 8.0));
    CHECK(static_cast<double>(rows.at<float>(5, darkest)) == within_abs(200.0, 1.0));  // above edge
  }
}

// cv::remap gives less than 32767 columns; tick 2047 lies on both sides of that.
TEST_CASE("a row of more than two thousand divisions is straightened too") {
  const DrawnTicks ticks{.size = {8500, 40},
                         .division_px = 4.0,
                         .count = 2100,
                         .edge_px = 10.3,
                         .sigma_px = 0.8,
                         .lengths_px = {15.0, 18.0, 22.0}};
  const TickGrid grid = test::drawn_grid(ticks, 10.0);
  constexpr int kPer = 16;
  const cv::Mat rows = straightened(draw(ticks), grid, 8, kPer);
  REQUIRE(rows.cols == 2100 * kPer);
  for (const int i : {1, 2046, 2047, 2048, 2098}) {
    CAPTURE(i);
    const float* division = rows.ptr<float>(8) + i * kPer;
    const auto darkest = std::min_element(division, division + kPer) - division;
    CHECK(std::abs(darkest - kPer / 2) <= 1);
  }
}

TEST_CASE("outside the picture there is nothing, and not black") {
  const DrawnTicks ticks;
  const TickGrid grid = test::drawn_grid(ticks, 0.0);
  const cv::Mat rows = straightened(draw(ticks), grid, 80, 16);
  CHECK(std::isnan(rows.at<float>(0, 20)));  // 80 px above the edge at 50.3
  CHECK_FALSE(std::isnan(rows.at<float>(40, 20)));
}

TEST_CASE("strokes that lean and an edge that slopes are put straight") {
  DrawnTicks ticks;
  ticks.lean = 0.12;
  ticks.edge_slope = 0.015;
  ticks.edge_px = 50.0;
  StrokeBand rough = test::drawn_band(ticks, 12.0);
  rough.lean = 0.0;
  rough.edge_per_px = 0.0;
  rough.origin = {0.0, ticks.edge_px + 12.0};
  TickComb comb = test::drawn_comb(ticks);
  // The count is that of the middle of the strokes, where the comb is found.
  comb.b -= ticks.lean * 12.0 / ticks.division_px;
  const StrokeBand band = aligned(draw(ticks), rough, comb);
  // In the middle of the ruler; over the 20 px of a short stroke 0.01 is 0.2 px.
  CHECK(band.lean + band.lean_per_px * comb.centre_px == within_abs(0.12, 0.01));
  const auto edge = [&](double s_px) {
    return (band.edge_per_px + band.edge_per_px2 * s_px) * s_px;
  };
  // From end to end the edge falls by 0.015 * 500 = 7.5 px; half a pixel is known.
  CHECK(edge(550.0) - edge(50.0) == within_abs(7.5, 0.5));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
