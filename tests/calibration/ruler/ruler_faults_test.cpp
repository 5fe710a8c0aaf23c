// What goes wrong with an ordinary ruler at home: each time the right answer, or one sentence.

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "calibration/ruler/ruler_reader.h"
#include "tests/calibration/ruler/rendered_ruler.h"
#include "tests/calibration/ruler/ruler_views.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::oblique_pose;
using test::scale_error;
using test::view_of;

test::Sheet taped_ruler() {
  test::RulerLook look = test::usual_ruler();
  look.length_mm = 240.0;
  return test::ruler_sheet(look, {0.0, 0.0});
}

/// The map is right to 0.1 %, which is asked for, or there is none and the sentence says what to
/// do.
void check_right_or_refused(const RulerReading& reading, const test::RulerCamera& camera) {
  INFO(reading.message);
  if (reading.status == RulerStatus::kRead) {
    CHECK(reading.division == Division::kMillimetre);
    CHECK(scale_error(reading, camera, 0.0) == test::within_abs(0.0, 1e-3));
    return;
  }
  CHECK(reading.ticks.empty());
  CHECK(reading.message.find("; ") != std::string::npos);  // what is wrong; what to do
}

}  // namespace

TEST_SUITE_BEGIN("ruler faults");

TEST_CASE("a ruler beside a page of print and graph paper is read right") {
  const test::RulerCamera camera = view_of(oblique_pose(280.0));
  const cv::Mat picture = test::render_wall({test::printed_page(210.0, 100.0, {10.0, 110.0}),
                                             test::graph_paper(240.0, 100.0, {0.4, -32.0}),
                                             taped_ruler()},
                                            camera,
                                            {});
  check_right_or_refused(read_ruler(picture), camera);
  const RulerReading hinted = read_ruler(
      picture,
      {.hint = RulerHint{test::project(camera, {5.0, 0.0}), test::project(camera, {235.0, 0.0})}});
  REQUIRE_MESSAGE(hinted.status == RulerStatus::kRead, hinted.message);
  check_right_or_refused(hinted, camera);
}

TEST_CASE("a ruler lying on graph paper is read right or refused in one sentence") {
  const test::RulerCamera camera = view_of(oblique_pose(280.0));
  // The lines of the paper stand between the ticks.
  const cv::Mat picture =
      test::render_wall({test::graph_paper(280.0, 60.0, {-19.6, 20.0}), taped_ruler()}, camera, {});
  check_right_or_refused(read_ruler(picture), camera);
}

TEST_CASE("glare over fine ticks is read right or refused in one sentence") {
  const test::RulerCamera camera = view_of(oblique_pose(385.0));  // 0.35 mm a pixel
  for (const double blur_px : {0.6, 1.0}) {
    test::RulerLight light{.blur_px = blur_px};
    for (const double x_mm : {50.0, 95.0, 140.0, 185.0}) {
      const PixelPoint place = test::project(camera, {x_mm, -3.0});
      light.glare_px.emplace_back(place.x_px, place.y_px);
    }
    check_right_or_refused(read_ruler(test::render_wall({taped_ruler()}, camera, light)), camera);
  }
}

// A ruler before the wall by h is what a camera nearer by h sees on the wall. The wall behind it is
// seen smaller by h / D (similar triangles), and nothing in the picture tells: README says so.
TEST_CASE("a ruler that stands off the wall gives the millimetres of its own plane") {
  constexpr double kThick_mm = 3.0;
  constexpr double kDistance_mm = 300.0;
  const auto frontal = [](double distance_mm) {
    return view_of({.distance_mm = distance_mm, .aim = {120.0, 0.0}});
  };
  const test::RulerCamera to_ruler = frontal(kDistance_mm - kThick_mm);
  const RulerReading reading = read_ruler(test::render_wall({taped_ruler()}, to_ruler, {}));
  REQUIRE(reading.status == RulerStatus::kRead);
  CHECK(scale_error(reading, to_ruler, 20.0) == test::within_abs(0.0, 1e-3));
  CHECK(scale_error(reading, frontal(kDistance_mm), 20.0) ==
        test::within_abs(-kThick_mm / kDistance_mm, 1e-3));
}

// Leaning, it is a wall seen from farther below, which nothing in the picture tells either.
TEST_CASE("a ruler that leans out of the wall's plane is right on itself") {
  const test::RulerCamera leaning =
      view_of({.pitch_rad = -0.3, .distance_mm = 280.0, .aim = {120.0, 0.0}});
  const RulerReading reading = read_ruler(test::render_wall({taped_ruler()}, leaning, {}));
  REQUIRE(reading.status == RulerStatus::kRead);
  CHECK(scale_error(reading, leaning, 0.0) == test::within_abs(0.0, 1e-3));
  // The wall itself is seen straight on from 280 mm; 20 mm above the hinge at the ticks' base the
  // plane of the ruler is nearer by 20 sin(0.3) = 6 mm.
  const test::RulerCamera wall = view_of({.distance_mm = 280.0, .aim = {120.0, 0.0}});
  CHECK(scale_error(reading, wall, 0.0) == test::within_abs(0.0, 1e-3));
  CHECK(std::abs(scale_error(reading, wall, 20.0)) ==
        test::within_abs(20.0 * std::sin(0.3) / 280.0, 4e-3));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
