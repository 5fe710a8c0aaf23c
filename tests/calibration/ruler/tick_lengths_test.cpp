#include "calibration/ruler/tick_lengths.h"

#include <cmath>
#include <limits>

#include <doctest/doctest.h>

#include "tests/calibration/ruler/drawn_ticks.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::draw;
using test::DrawnTicks;
using test::kGridDown_px;
using test::within_abs;
using test::within_rel;

constexpr int kPer = kSamplesPerDivision;
constexpr int kReach_px = 50;

cv::Mat straight_rows(const DrawnTicks& ticks, const cv::Mat& values) {
  return straightened(values, test::drawn_grid(ticks, kGridDown_px), kReach_px, kPer);
}

DrawnTicks folded_ticks() {
  return {.size = {640, 200}, .edge_px = 70.3};
}

}  // namespace

TEST_SUITE_BEGIN("tick_lengths");

TEST_CASE("the depth of a stroke is that of its middle quarter below the ground beside it") {
  cv::Mat rows(2, 2 * kPer, CV_32F, cv::Scalar(100.0));
  // Middle quarter of the second division, 5 samples: 40 darker.
  for (int m = 6; m <= 10; ++m) rows.at<float>(0, kPer + m) = 60.0F;
  const cv::Mat dark = stroke_depths(rows, 1);
  REQUIRE(dark.size() == cv::Size(2, 2));
  CHECK(dark.at<float>(0, 0) == within_abs(0.0, 1e-4));
  CHECK(dark.at<float>(0, 1) == within_abs(40.0, 1e-4));  // single precision
  CHECK(dark.at<float>(1, 1) == within_abs(0.0, 1e-4));
  CHECK(stroke_depths(rows, -1).at<float>(0, 1) == within_abs(-40.0, 1e-4));
}

TEST_CASE("a slope of light is no stroke, and what is not seen has no depth") {
  cv::Mat rows(1, 2 * kPer, CV_32F);
  for (int j = 0; j < rows.cols; ++j) rows.at<float>(0, j) = 50.0F + 3.0F * static_cast<float>(j);
  rows.at<float>(0, kPer + 7) = std::numeric_limits<float>::quiet_NaN();
  const cv::Mat depths = stroke_depths(rows, 1);
  // The middle of the sampled stroke lies half a sample beside that of the ground.
  CHECK(std::abs(static_cast<double>(depths.at<float>(0, 0))) <= 1.5001);
  CHECK(std::isnan(depths.at<float>(0, 1)));
}

TEST_CASE("the lengths of the ticks by their place in the pattern are those drawn") {
  const DrawnTicks ticks = folded_ticks();
  const cv::Mat depths = stroke_depths(straight_rows(ticks, draw(ticks)), 1);
  const auto folded = fold_ticks(depths, 0, 10);
  REQUIRE(folded);
  CHECK_FALSE(folded->open);
  CHECK(folded->upwards);  // towards growing rows
  // The ends are where the depth falls to half: exact on a blurred step but for the smoothing over
  // three rows and linear interpolation in between, a tenth of a pixel.
  CHECK(folded->base_row == within_abs(kReach_px - kGridDown_px, 0.2));
  REQUIRE(folded->lengths_px.size() == 10);
  for (int k = 0; k < 10; ++k) {
    CAPTURE(k);
    CHECK(folded->lengths_px[static_cast<std::size_t>(k)] ==
          within_abs(test::drawn_length_px(ticks, k), 0.3));
  }
  CHECK(folded->common_rows.start >= kReach_px - kGridDown_px - 1.0);
  CHECK(folded->common_rows.end <= kReach_px - kGridDown_px + 20.0 + 2.0);
}

TEST_CASE("the number of the first column says which place is which") {
  const DrawnTicks ticks = folded_ticks();
  const cv::Mat depths = stroke_depths(straight_rows(ticks, draw(ticks)), 1);
  const auto folded = fold_ticks(depths, -3, 10);  // column 0, a tenth, is called -3: place 7
  REQUIRE(folded);
  CHECK(folded->lengths_px[7] == within_abs(38.0, 0.3));
  CHECK(folded->lengths_px[2] == within_abs(28.0, 0.3));
  CHECK(folded->lengths_px[0] == within_abs(20.0, 0.3));
}

TEST_CASE("a tick covered or worn does not change the lengths") {
  const DrawnTicks ticks = folded_ticks();
  cv::Mat values = draw(ticks);
  values.colRange(26, 36) = 200.0;    // the first tenth
  values.colRange(300, 320) = 200.0;  // three more
  const auto folded = fold_ticks(stroke_depths(straight_rows(ticks, values), 1), 0, 10);
  REQUIRE(folded);
  CHECK(folded->lengths_px[0] == within_abs(38.0, 0.3));
  CHECK(folded->lengths_px[4] == within_abs(20.0, 0.3));
}

TEST_CASE("ticks that run out of what is looked at are open") {
  DrawnTicks ticks = folded_ticks();
  ticks.lengths_px = {20.0, 28.0, 90.0};
  const auto folded = fold_ticks(stroke_depths(straight_rows(ticks, draw(ticks)), 1), 0, 10);
  REQUIRE(folded);
  CHECK(folded->open);
}

TEST_CASE("an even wall has no ticks to fold") {
  const cv::Mat depths = cv::Mat::zeros(40, 50, CV_32F);
  CHECK_FALSE(fold_ticks(depths, 0, 10));
}

TEST_CASE("the width of single strokes is their area over their height") {
  DrawnTicks ticks = folded_ticks();
  for (const double sigma_px : {0.8, 1.1}) {
    ticks.sigma_px = sigma_px;
    const cv::Mat rows = straight_rows(ticks, draw(ticks));
    const auto folded = fold_ticks(stroke_depths(rows, 1), 0, 10);
    REQUIRE(folded);
    const auto width = width_of_single_strokes(rows, 8.0, *folded, 1);
    REQUIRE(width);
    // sqrt(2 pi) sigma of a Gaussian, which the mean of three samples half a pixel apart widens by
    // a variance of 1/6 px^2, and interpolation by some per cent.
    CHECK(*width == within_rel(2.5066 * std::sqrt(sigma_px * sigma_px + 1.0 / 6.0) / 8.0, 0.06));
  }
}

TEST_CASE("strokes between the strokes are noticed") {
  DrawnTicks ticks = folded_ticks();
  DrawnTicks between = ticks;
  between.first_px += 4.0;
  between.lengths_px = {12.0, 12.0, 12.0};
  between.depth = 80.0;
  const cv::Mat rows = straight_rows(ticks, draw(ticks) + draw(between) - 200.0);
  const auto folded = fold_ticks(stroke_depths(rows, 1), 0, 10);
  REQUIRE(folded);
  CHECK_FALSE(width_of_single_strokes(rows, 8.0, *folded, 1));
}

TEST_CASE("noise that could hide strokes between them is said to") {
  DrawnTicks ticks = folded_ticks();
  ticks.depth = 10.0;
  cv::Mat values = draw(ticks);
  cv::Mat noise(values.size(), CV_32F);
  cv::RNG random(4);
  random.fill(noise, cv::RNG::NORMAL, 0.0, 12.0);
  const cv::Mat rows = straight_rows(ticks, values + noise);
  FoldedTicks folded{.common_rows = {kReach_px - 6, kReach_px + 10},
                     .upwards = true,
                     .base_row = kReach_px - kGridDown_px,
                     .lengths_px = std::vector<double>(10, 20.0)};
  CHECK_FALSE(width_of_single_strokes(rows, 8.0, folded, 1));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
