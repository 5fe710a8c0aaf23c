#include "demo_video/printed_scale.h"

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;

TEST_SUITE("printed_scale") {
  TEST_CASE("markers stand in two rows of columns 40 mm apart, 24 mm wide") {
    const auto lower = PrintedScale::marker_corners_mm(0);
    CHECK(lower[0] == cv::Point2d(8, -18));
    CHECK(lower[2] == cv::Point2d(32, -42));
    const auto upper = PrintedScale::marker_corners_mm(23);
    CHECK(upper[0] == cv::Point2d(448, 92));
    CHECK(upper[1] == cv::Point2d(472, 92));
    CHECK(upper[3] == cv::Point2d(448, 68));
  }

  TEST_CASE("ticks are 3, 5 and 8 mm long, a quarter of a millimetre wide, and point down") {
    const PrintedScale scale(12);
    struct Expectation {
      double x_mm, y_mm, ink;
    };
    for (const Expectation& at : {Expectation{123, -2.9, 1},
                                  {123, -3.1, 0},
                                  {125, -4.9, 1},
                                  {125, -5.1, 0},
                                  {130, -7.9, 1},
                                  {130, -8.1, 0},
                                  {131.12, -2, 1},
                                  {131.13, -2, 0},
                                  {131.5, 0, 1},
                                  {131.5, 0.2, 0},
                                  {123, 1, 0}}) {
      CAPTURE(at.x_mm);
      CAPTURE(at.y_mm);
      CHECK(scale.ink(at.x_mm, at.y_mm) == at.ink);
    }
  }

  TEST_CASE("the lane of the spot is blank but for the faint seam of the pages") {
    const PrintedScale scale(12);
    for (double x_mm = 0.5; x_mm < 480; x_mm += 0.25) {
      for (double y_mm = 2; y_mm <= 65; y_mm += 3) {
        const double ink = scale.ink(x_mm, y_mm);
        CHECK(ink == within_abs(0, x_mm > 239.9 && x_mm < 240.1 ? 0.2 : 0));
      }
    }
  }

  TEST_CASE("every marker has a black border and a quiet zone around it") {
    const PrintedScale scale(12);
    for (int id = 0; id < 24; ++id) {
      const auto corner = PrintedScale::marker_corners_mm(id);
      for (double along = 0.5; along < 24; along += 1) {
        CHECK(scale.ink(corner[0].x + along, corner[0].y - 2) == 1);
        CHECK(scale.ink(corner[3].x + along, corner[3].y + 2) == 1);
        CHECK(scale.ink(corner[0].x + 2, corner[0].y - along) == 1);
        CHECK(scale.ink(corner[0].x + along, corner[0].y + 2) == 0);
        CHECK(scale.ink(corner[3].x + along, corner[3].y - 2) == 0);
        CHECK(scale.ink(corner[0].x - 2, corner[0].y - along) == 0);
        CHECK(scale.ink(corner[1].x + 2, corner[1].y - along) == 0);
      }
    }
  }
}

}  // namespace
}  // namespace nightswing::demo
