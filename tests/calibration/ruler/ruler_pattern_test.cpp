#include <cmath>
#include <functional>
#include <string>

#include <doctest/doctest.h>

#include "calibration/ruler/ruler_reader.h"
#include "calibration/ruler/tick_pattern.h"
#include "tests/calibration/ruler/rendered_ruler.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

test::RulerCamera camera_at(double distance_mm) {
  test::RulerCamera camera;
  camera.pixel_from_wall = test::pixel_from_wall_matrix(
      {.yaw_rad = 0.2, .pitch_rad = -0.2, .distance_mm = distance_mm, .aim = {120.0, 0.0}},
      camera.size);
  return camera;
}

/// 4 px a millimetre.
RulerReading read_sheet(const test::Sheet& sheet, double blur_px = 0.7) {
  return read_ruler(test::render_wall({sheet}, camera_at(280.0), {.blur_px = blur_px}));
}

RulerReading read_ticks(double division_mm, std::function<double(int)> tick_mm) {
  test::RulerLook look;
  look.division_mm = division_mm;
  look.tick_mm = std::move(tick_mm);
  return read_sheet(test::ruler_sheet(look, {0.0, 0.0}), 0.5);
}

/// Length of tick i of a ruler divided again and again into halves.
double binary_mm(int i, int halvings) {
  int rank = 0;
  while (rank < halvings && i % (2 << rank) == 0) ++rank;
  return 3.0 + 1.4 * rank;
}

}  // namespace

TEST_SUITE_BEGIN("ruler_pattern");

// Common practice, no source: the lengths of the ticks of rulers.
TEST_CASE("the longest ticks are whole centimetres and whole inches") {
  CHECK(length_class(Division::kMillimetre, 0) == 2);
  CHECK(length_class(Division::kMillimetre, -20) == 2);
  CHECK(length_class(Division::kMillimetre, 5) == 1);
  CHECK(length_class(Division::kMillimetre, 7) == 0);
  CHECK(length_class(Division::kSixteenthInch, -16) == 4);
  CHECK(length_class(Division::kSixteenthInch, 8) == 3);
  CHECK(length_class(Division::kSixteenthInch, 4) == 2);
  CHECK(length_class(Division::kSixteenthInch, 6) == 1);
  CHECK(length_class(Division::kSixteenthInch, 3) == 0);
  CHECK(division_mm(Division::kMillimetre) == 1.0);
  // One inch is 25.4 mm exactly: NIST SP 811 (2008), appendix B.
  CHECK(division_mm(Division::kSixteenthInch) * 16.0 == test::within_rel(25.4, 1e-15));
}

TEST_CASE("strokes that are no ruler's are refused in one sentence") {
  RulerReading reading;
  SUBCASE("a comb of equal lines") {
    reading = read_ticks(1.0, [](int) { return 5.0; });
  }
  SUBCASE("only every tenth longer") {
    reading = read_ticks(1.0, [](int i) { return i % 10 == 0 ? 7.0 : 4.0; });
  }
  SUBCASE("every fourth longer") {
    reading = read_ticks(1.0, [](int i) { return i % 4 == 0 ? 7.0 : 4.0; });
  }
  SUBCASE("eighths of an inch") {
    reading = read_ticks(25.4 / 8.0, [](int i) { return binary_mm(i, 3); });
  }
  SUBCASE("thirty-seconds of an inch") {
    reading = read_ticks(25.4 / 32.0, [](int i) { return binary_mm(i, 5); });
  }
  INFO(reading.message);
  CHECK(reading.status == RulerStatus::kNoPattern);
  CHECK(reading.ticks.empty());
  CHECK(reading.message.find("their lengths follow neither millimetres") != std::string::npos);
}

TEST_CASE("what is no row of ruler ticks gives no map") {
  RulerReading reading;
  SUBCASE("centimetres with halves, large in the picture") {
    reading = read_ticks(5.0, [](int i) { return i % 2 == 0 ? 7.0 : 5.0; });
  }
  SUBCASE("graph paper") {
    reading = read_sheet(test::graph_paper(250.0, 150.0, {0.0, 60.0}));
  }
  SUBCASE("print") {
    reading = read_sheet(test::printed_page(210.0, 150.0, {10.0, 60.0}));
  }
  SUBCASE("wall") {
    reading = read_ruler(test::render_wall({}, camera_at(280.0), {}));
  }
  SUBCASE("a ruler turned over: bare wood") {
    reading = read_ticks(1.0, [](int) { return 0.0; });
  }
  INFO(reading.message);
  CHECK((reading.status == RulerStatus::kNoRuler || reading.status == RulerStatus::kNoPattern));
  CHECK(reading.ticks.empty());
}

TEST_CASE("half millimetres between the ticks do not make a division half as long") {
  const RulerReading reading = read_ticks(0.5, [](int i) {
    return i % 20 == 0 ? 8.0 : i % 10 == 0 ? 6.5 : i % 2 == 0 ? 5.0 : 3.5;
  });
  // 4 px a millimetre: 2 px a half one, which cannot be seen; were it seen, it would be refused.
  REQUIRE(reading.status == RulerStatus::kRead);
  CHECK(reading.division_px == test::within_rel(4.0, 0.1));
}

TEST_CASE("the nearer the camera, the more ticks: too far away nothing is read wrongly") {
  const test::Sheet sheet = test::ruler_sheet(test::millimetre_ruler(3.5, 5.0, 7.0), {0.0, 0.0});
  for (const double distance_mm : {420.0, 500.0, 560.0, 610.0, 700.0, 900.0}) {
    const RulerReading reading =
        read_ruler(test::render_wall({sheet}, camera_at(distance_mm), {.blur_px = 0.6}));
    INFO(distance_mm, " mm: ", reading.message);
    if (reading.status == RulerStatus::kRead) {
      CHECK(reading.division_px ==
            test::within_rel(1100.0 / distance_mm, 0.1));  // foreshortened by 1 / cos(0.2) twice
    } else {
      CHECK(distance_mm > 420.0);  // 2.6 px
      CHECK(reading.ticks.empty());
    }
  }
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
