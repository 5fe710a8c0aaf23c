#include "calibration/ruler/stroke_band.h"

#include <algorithm>
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

/// Angle of the band to the x axis, without its sense.
double angle_rad(const StrokeBand& band) {
  return std::atan(band.along.y / band.along.x);
}

/// How far down the band runs at a column of the picture.
double height_at(const StrokeBand& band, double x_px) {
  return band.origin.y + (x_px - band.origin.x) * band.along.y / band.along.x;
}

cv::Mat flat(cv::Size size) {
  return {size, CV_32F, cv::Scalar(120.0)};
}

}  // namespace

TEST_SUITE_BEGIN("stroke_band");

TEST_CASE("s runs along the line, t a quarter turn from x to y, the strokes lean between them") {
  StrokeBand band{.origin = {100.0, 50.0}, .along = {0.6, 0.8}};
  CHECK(pixel_at(band, 10.0, 0.0).x == within_abs(106.0, 1e-12));
  CHECK(pixel_at(band, 10.0, 0.0).y == within_abs(58.0, 1e-12));
  CHECK(pixel_at(band, 0.0, 5.0).x == within_abs(96.0, 1e-12));
  CHECK(pixel_at(band, 0.0, 5.0).y == within_abs(53.0, 1e-12));
  band.along = {1.0, 0.0};
  band.lean = 0.2;
  band.lean_per_px = 0.001;
  // At s = 100 the strokes go 0.2 + 0.1 px along for each px across.
  CHECK(pixel_at(band, 100.0, 10.0).x == within_abs(203.0, 1e-12));
  CHECK(pixel_at(band, 100.0, 10.0).y == within_abs(60.0, 1e-12));
}

TEST_CASE("strokes that lean as they should meet in one point") {
  // All lines of a family parallel on the wall meet in the vanishing point: where t lean_per_px is
  // -1, s (1 + lean_per_px t) + lean t no longer depends on s.
  const StrokeBand band{
      .origin = {0.0, 0.0}, .along = {1.0, 0.0}, .lean = 0.1, .lean_per_px = 0.002};
  const cv::Point2d meeting = pixel_at(band, 0.0, -500.0);
  for (const double s_px : {-300.0, 40.0, 900.0}) {
    CHECK(cv::norm(pixel_at(band, s_px, -500.0) - meeting) == within_abs(0.0, 1e-9));
  }
}

TEST_CASE("an edge that is not along the line, and bent, carries t with it") {
  const StrokeBand band{
      .origin = {0.0, 0.0}, .along = {1.0, 0.0}, .edge_per_px = 0.1, .edge_per_px2 = 0.001};
  CHECK(pixel_at(band, 20.0, 3.0).x == within_abs(20.0, 1e-12));
  CHECK(pixel_at(band, 20.0, 3.0).y == within_abs(3.0 + 2.0 + 0.4, 1e-12));
}

TEST_CASE("a row of strokes is found where it is") {
  const DrawnTicks ticks;
  const auto bands = find_stroke_bands(photographed(draw(ticks)), std::nullopt, 3);
  REQUIRE_FALSE(bands.empty());
  const StrokeBand& band = bands.front();
  // The row is 20 px high or more and 560 px long: its direction within the height over the length
  // several times over, its line within the strokes.
  CHECK(angle_rad(band) == within_abs(0.0, 0.01));
  for (const double x_px : {100.0, 300.0, 500.0}) {
    CHECK(height_at(band, x_px) > ticks.edge_px);
    CHECK(height_at(band, x_px) < ticks.edge_px + 30.0);
  }
  CHECK(band.lean == within_abs(0.0, 0.03));
  const double from_px =
      std::min(pixel_at(band, band.from_px, 0.0).x, pixel_at(band, band.to_px, 0.0).x);
  const double to_px =
      std::max(pixel_at(band, band.from_px, 0.0).x, pixel_at(band, band.to_px, 0.0).x);
  // "Roughly": within the windows that are looked at, some 20 px.
  CHECK(from_px == within_abs(30.4, 20.0));
  CHECK(to_px == within_abs(30.4 + 69 * 8.0, 20.0));
}

TEST_CASE("leaning strokes are known by their lean") {
  for (const double lean : {-0.3, 0.2}) {
    CAPTURE(lean);
    DrawnTicks ticks;
    ticks.lean = lean;
    const auto bands = find_stroke_bands(photographed(draw(ticks)), std::nullopt, 1);
    REQUIRE(bands.size() == 1);
    // The stroke's direction in the picture; tick_grid.h makes it exact later.
    const StrokeBand& band = bands.front();
    const cv::Point2d step = pixel_at(band, 300.0, 10.0) - pixel_at(band, 300.0, -10.0);
    CHECK(step.x / step.y == within_abs(lean, 0.05));
  }
}

TEST_CASE("of two rows the longer one comes first, and a hint asks for the other") {
  DrawnTicks longer;
  longer.size = {640, 300};
  DrawnTicks shorter = longer;
  shorter.edge_px = 210.0;
  shorter.count = 40;
  const cv::Mat values = photographed(draw(longer) + draw(shorter) - 200.0);
  const auto bands = find_stroke_bands(values, std::nullopt, 4);
  REQUIRE(bands.size() >= 2);
  CHECK(height_at(bands[0], 200.0) < 100.0);
  const auto hinted =
      find_stroke_bands(values, RulerHint{.from = {30.0, 215.0}, .to = {340.0, 215.0}}, 4);
  REQUIRE_FALSE(hinted.empty());
  for (const StrokeBand& band : hinted) CHECK(height_at(band, 200.0) > 190.0);
}

TEST_CASE("an even wall and one edge are no rows of strokes") {
  CHECK(find_stroke_bands(flat({320, 240}), std::nullopt, 3).empty());  // black, or saturated
  CHECK(find_stroke_bands(photographed(flat({320, 240})), std::nullopt, 3).empty());
  cv::Mat edge = flat({320, 240});
  edge.rowRange(120, 240) = 200.0;
  CHECK(find_stroke_bands(photographed(edge), std::nullopt, 3).empty());
}

TEST_CASE("no more rows are given than asked for") {
  CHECK(find_stroke_bands(photographed(draw({})), std::nullopt, 1).size() == 1);
  CHECK(find_stroke_bands(photographed(draw({})), std::nullopt, 0).empty());
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
