#include "calibration/ruler/ruler_search.h"

#include <cmath>

#include <doctest/doctest.h>

#include "tests/calibration/ruler/drawn_ticks.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::draw;
using test::DrawnTicks;
using test::photographed;
using test::within_abs;

}  // namespace

TEST_SUITE_BEGIN("ruler_search");

TEST_CASE("a ruler is measured in its own count, 0 mm at a longest tick") {
  const DrawnTicks ticks;
  const RulerSearch search = search_rulers(photographed(draw(ticks)), std::nullopt);
  REQUIRE(search.rulers.size() == 1);
  const MeasuredRuler& ruler = search.rulers.front();
  CHECK(ruler.pattern.division == Division::kMillimetre);
  CHECK(ruler.ticks.size() >= 66);
  // 69 divisions of 8 px from end to end.
  CHECK(ruler.length_px == within_abs(69 * 8.0, 2.5 * 8.0));
  const auto x_mm_at = [&](int i) {
    return wall_from_pixel(ruler.map, {ticks.first_px + 8.0 * i, ticks.edge_px + 8.0}).x_mm;
  };
  // Each tick is known to about 0.02 px of 8, all together far better.
  const double sense = x_mm_at(20) > x_mm_at(10) ? 1.0 : -1.0;
  CHECK(x_mm_at(60) - x_mm_at(10) == within_abs(sense * 50.0, 0.01));
  const double tenths = x_mm_at(30) / 10.0;  // tick 30 is a tenth
  CHECK(tenths == within_abs(std::round(tenths), 0.001));
}

TEST_CASE("two rulers are both measured, the longer one first") {
  DrawnTicks longer;
  longer.size = {640, 300};
  DrawnTicks shorter = longer;
  shorter.edge_px = 210.0;
  shorter.count = 45;
  const cv::Mat values = photographed(draw(longer) + draw(shorter) - 200.0);
  const RulerSearch search = search_rulers(values, std::nullopt);
  REQUIRE(search.rulers.size() == 2);
  CHECK(search.rulers[0].ticks.front().near.y_px < 150.0);
  CHECK(search.rulers[1].ticks.front().near.y_px > 150.0);
  CHECK(search.rulers[0].length_px > search.rulers[1].length_px);
  const RulerSearch hinted =
      search_rulers(values, RulerHint{.from = {30.0, 216.0}, .to = {380.0, 216.0}});
  REQUIRE(hinted.rulers.size() == 1);
  CHECK(hinted.rulers[0].ticks.front().near.y_px > 150.0);
}

TEST_CASE("a ruler on an overexposed wall is read") {
  // All around the strokes the picture is white throughout, without noise.
  cv::Mat stored;
  cv::Mat(photographed(draw({})) + 70.0).convertTo(stored, CV_8U);
  cv::Mat values;
  stored.convertTo(values, CV_32F);
  const RulerSearch search = search_rulers(values, std::nullopt);
  REQUIRE(search.rulers.size() == 1);
  CHECK(search.rulers.front().pattern.division == Division::kMillimetre);
  CHECK(search.rulers.front().ticks.size() >= 66);
}

TEST_CASE("an even wall has no ruler, and equal strokes have no pattern") {
  const RulerSearch none =
      search_rulers(photographed(cv::Mat(160, 640, CV_32F, cv::Scalar(120.0))), std::nullopt);
  CHECK(none.rulers.empty());
  CHECK(none.refusal == RulerStatus::kNoRuler);
  DrawnTicks equal;
  equal.lengths_px = {24.0, 24.0, 24.0};
  const RulerSearch search = search_rulers(photographed(draw(equal)), std::nullopt);
  CHECK(search.rulers.empty());
  CHECK(search.refusal == RulerStatus::kNoPattern);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
