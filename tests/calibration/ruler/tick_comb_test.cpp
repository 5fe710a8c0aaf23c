#include "calibration/ruler/tick_comb.h"

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

constexpr TickComb kBent{
    .centre_px = 300.0, .half_span_px = 200.0, .a = 40.0, .b = 12.0, .c = 0.15, .e = -0.7};

}  // namespace

TEST_SUITE_BEGIN("tick_comb");

TEST_CASE("the count is (a z + b + e z^3) / (1 + c z)") {
  CHECK(count_at(kBent, 300.0) == within_rel(12.0, 1e-14));
  CHECK(count_at(kBent, 500.0) == within_rel((40.0 + 12.0 - 0.7) / 1.15, 1e-14));
  CHECK(count_at(kBent, 200.0) == within_rel((-20.0 + 12.0 + 0.7 / 8.0) / 0.925, 1e-14));
}

TEST_CASE("counts per pixel are the slope of the count, by central differences") {
  constexpr double kStep_px = 1e-3;
  for (const double s_px : {120.0, 300.0, 415.0, 500.0}) {
    const double expected =
        (count_at(kBent, s_px + kStep_px) - count_at(kBent, s_px - kStep_px)) / (2.0 * kStep_px);
    // Rounding of a count of 50: 1e-14 / step = 1e-11; the third derivative adds less.
    CHECK(counts_per_px(kBent, s_px) == within_abs(expected, 1e-10));
  }
}

TEST_CASE("equal strokes are counted one by one") {
  DrawnTicks ticks;
  ticks.lengths_px = {30.0, 30.0, 30.0};
  const StrokeBand band = test::drawn_band(ticks, 15.0);
  const auto combs = find_combs(draw(ticks), band);
  REQUIRE_FALSE(combs.empty());
  const TickComb& comb = combs.front();
  for (int i = 0; i + 10 < ticks.count; i += 10) {
    const double s_px = ticks.first_px + i * ticks.division_px;
    // Ten strokes on, ten counts more: a stroke is known to far better than 2 % of a division, so
    // sharp as these are.
    CHECK(count_at(comb, s_px + 10.0 * ticks.division_px) - count_at(comb, s_px) ==
          within_abs(10.0, 0.02));
    // Whole numbers lie in the bright gaps, strokes half-way between them.
    const double count = count_at(comb, s_px);
    CHECK(std::abs(count - std::floor(count) - 0.5) < 0.05);
  }
  CHECK(comb.from_px < ticks.first_px + 5.0 * ticks.division_px);
  CHECK(comb.to_px > ticks.first_px + (ticks.count - 6) * ticks.division_px);
}

TEST_CASE("the count goes on behind a gap in the strokes") {
  DrawnTicks ticks;
  ticks.lengths_px = {30.0, 30.0, 30.0};
  cv::Mat values = draw(ticks);
  values.colRange(250, 310) = 200.0;  // more than seven strokes covered
  const auto combs = find_combs(values, test::drawn_band(ticks, 15.0));
  REQUIRE_FALSE(combs.empty());
  const double before_px = ticks.first_px + 10.0 * ticks.division_px;
  const double behind_px = ticks.first_px + 60.0 * ticks.division_px;
  CHECK(count_at(combs.front(), behind_px) - count_at(combs.front(), before_px) ==
        within_abs(50.0, 0.05));
}

TEST_CASE("strokes in perspective are counted by the curve of perspective") {
  // Written down with their places by the projective law: count = (a z + b) / (1 + c z).
  const TickComb truth{.centre_px = 320.0, .half_span_px = 300.0, .a = 40.0, .b = 0.0, .c = 0.2};
  cv::Mat values(100, 640, CV_32F);
  for (int x = 0; x < values.cols; ++x) {
    const double gray = 150.0 + 40.0 * std::cos(2.0 * 3.14159265358979 * count_at(truth, x));
    values.col(x) = gray;
  }
  const StrokeBand band{
      .origin = {0.0, 50.0}, .along = {1.0, 0.0}, .from_px = 20.0, .to_px = 620.0};
  const auto combs = find_combs(values, band);
  REQUIRE_FALSE(combs.empty());
  const TickComb& comb = combs.front();
  const double offset = std::round(count_at(comb, 320.0) - count_at(truth, 320.0));
  for (const double s_px : {40.0, 150.0, 320.0, 500.0, 600.0}) {
    CAPTURE(s_px);
    CHECK(count_at(comb, s_px) - offset == within_abs(count_at(truth, s_px), 0.05));
  }
}

TEST_CASE("a band too short to count on holds no comb") {
  const DrawnTicks ticks;
  StrokeBand band = test::drawn_band(ticks, 10.0);
  const cv::Mat small(60, 40, CV_32F, cv::Scalar(100.0));
  band.from_px = 5.0;
  band.to_px = 35.0;
  band.origin = {0.0, 30.0};
  CHECK(find_combs(small, band).empty());
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
