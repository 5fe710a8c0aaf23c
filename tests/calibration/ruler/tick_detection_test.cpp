#include "calibration/ruler/tick_detection.h"

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

/// How far the point lies from the middle line of its stroke, across it.
double off_px(const DrawnTicks& ticks, int index, const PixelPoint& p) {
  const double middle_px =
      ticks.first_px + index * ticks.division_px + ticks.lean * (p.y_px - ticks.edge_px);
  return (p.x_px - middle_px) / std::hypot(1.0, ticks.lean);
}

double worst_px(const DrawnTicks& ticks, const std::vector<MeasuredTick>& measured) {
  double worst = 0.0;
  for (const MeasuredTick& tick : measured) {
    worst = std::max({worst,
                      std::abs(off_px(ticks, tick.index, tick.near)),
                      std::abs(off_px(ticks, tick.index, tick.far))});
  }
  return worst;
}

cv::Mat with_noise(const cv::Mat& values, double noise_dn, std::uint64_t seed) {
  cv::Mat noise(values.size(), CV_32F);
  cv::RNG random(seed);
  random.fill(noise, cv::RNG::NORMAL, 0.0, noise_dn);
  return values + noise;
}

}  // namespace

TEST_SUITE_BEGIN("tick_detection");

TEST_CASE("without noise every tick is found in its place") {
  const DrawnTicks ticks;
  const auto measured = measure_ticks(draw(ticks), test::drawn_pattern(ticks, 10.0));
  REQUIRE(measured.size() == 70);
  // The model is the drawing; only the outermost ticks have no neighbour where it supposes one.
  CHECK(worst_px(ticks, {measured.begin() + 1, measured.end() - 1}) == within_abs(0.0, 0.005));
  CHECK(worst_px(ticks, measured) == within_abs(0.0, 0.02));
  for (int i = 0; i < 70; ++i) {
    const MeasuredTick& tick = measured[static_cast<std::size_t>(i)];
    CHECK(tick.index == i);
    CHECK(tick.length_class == (i % 10 == 0 ? 2 : i % 5 == 0 ? 1 : 0));
    CHECK(tick.near.y_px < tick.far.y_px);
    CHECK(tick.near.y_px > ticks.edge_px);
    CHECK(tick.far.y_px < ticks.edge_px + test::drawn_length_px(ticks, i));
    CHECK(tick.u_px > 0.0);
  }
}

TEST_CASE("ticks that are not quite where the pattern expects them are measured where they are") {
  DrawnTicks ticks;
  const TickPattern pattern = test::drawn_pattern(ticks, 10.0);
  ticks.first_px += 1.3;  // a sixth of a division
  const auto measured = measure_ticks(draw(ticks), pattern);
  REQUIRE(measured.size() == 70);
  CHECK(worst_px(ticks, measured) == within_abs(0.0, 0.02));
}

TEST_CASE("leaning ticks are measured as leaning lines") {
  DrawnTicks ticks;
  ticks.lean = 0.1;
  const auto measured = measure_ticks(draw(ticks), test::drawn_pattern(ticks, 10.0));
  REQUIRE(measured.size() >= 68);
  // The strokes are drawn with their width along x, and their ends level.
  CHECK(worst_px(ticks, measured) == within_abs(0.0, 0.03));
}

TEST_CASE("the stated uncertainty of a tick is the scatter over pictures with other noise") {
  const DrawnTicks ticks;
  const cv::Mat clean = draw(ticks);
  const TickPattern pattern = test::drawn_pattern(ticks, 10.0);
  double squares = 0.0;
  int count = 0;
  for (std::uint64_t seed = 1; seed <= 8; ++seed) {
    for (const MeasuredTick& tick : measure_ticks(with_noise(clean, 6.0, seed), pattern)) {
      for (const PixelPoint& p : {tick.near, tick.far}) {
        squares += std::pow(off_px(ticks, tick.index, p) / tick.u_px, 2);
        ++count;
      }
    }
  }
  REQUIRE(count > 1000);
  // 1120 pulls: 2 %; the larger of the tick's own scatter and the median one is stated, so that
  // the pull stays below one.
  CHECK(std::sqrt(squares / count) == within_abs(0.95, 0.15));
}

TEST_CASE("covered and worn ticks are left out, their neighbours stay") {
  const DrawnTicks ticks;
  cv::Mat values = draw(ticks);
  const double covered_px = ticks.first_px + 20.0 * ticks.division_px;
  values.colRange(cvRound(covered_px) - 3, cvRound(covered_px) + 4) = 200.0;
  const auto measured = measure_ticks(with_noise(values, 1.0, 3), test::drawn_pattern(ticks, 10.0));
  CHECK(std::ranges::none_of(measured, [](const MeasuredTick& t) { return t.index == 20; }));
  CHECK(std::ranges::any_of(measured, [](const MeasuredTick& t) { return t.index == 22; }));
  CHECK(measured.size() >= 66);
}

TEST_CASE(
    "ticks at the border of the picture are left out, and bright ones are none of dark ones") {
  DrawnTicks ticks;
  const TickPattern pattern = test::drawn_pattern(ticks, 10.0);
  const auto cut = measure_ticks(draw(ticks).colRange(0, 300).clone(), pattern);
  REQUIRE_FALSE(cut.empty());
  CHECK(cut.back().near.x_px < 300.0);
  CHECK(worst_px(ticks, cut) == within_abs(0.0, 0.01));
  CHECK(measure_ticks(400.0 - draw(ticks), pattern).empty());
  CHECK(measure_ticks(cv::Mat(ticks.size, CV_32F, cv::Scalar(90.0)), pattern).empty());
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
