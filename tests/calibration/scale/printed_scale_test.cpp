#include "calibration/scale/printed_scale.h"

#include <stdexcept>

#include <doctest/doctest.h>

namespace nightswing::calibration {

TEST_SUITE_BEGIN("printed_scale");

// The layout is a definition; the expected numbers are worked out by hand from its description:
// column k at x = 20 + 40 k mm, lower row y = -30, upper row y = +80, squares of 24 mm. They are
// small integers, so that they compare exactly.
TEST_CASE("markers stand where the layout says") {
  CHECK(marker_centre(0) == WallPoint{20.0, -30.0});
  CHECK(marker_centre(1) == WallPoint{20.0, 80.0});
  CHECK(marker_centre(10) == WallPoint{220.0, -30.0});
  CHECK(marker_centre(99) == WallPoint{1980.0, 80.0});
  CHECK(marker_column(98) == 49);
}

TEST_CASE("corners run clockwise from the top left of the upright marker") {
  const auto corners = marker_corners(3);  // column 1, upper row
  CHECK(corners[0] == WallPoint{48.0, 92.0});
  CHECK(corners[1] == WallPoint{72.0, 92.0});
  CHECK(corners[2] == WallPoint{72.0, 68.0});
  CHECK(corners[3] == WallPoint{48.0, 68.0});
}

TEST_CASE("the field of bits lies one cell of 4 mm inside the marker") {
  const auto field = field_corners(3);
  CHECK(field[0] == WallPoint{52.0, 88.0});
  CHECK(field[2] == WallPoint{68.0, 72.0});
}

TEST_CASE("fifty columns fill two metres and stay on the paper") {
  for (int id = 0; id < kMarkerCount; ++id) {
    for (const WallPoint& corner : marker_corners(id)) {
      CHECK(corner.x_mm > 0.0);
      CHECK(corner.x_mm < 2000.0);
      CHECK(corner.y_mm > kPaperBottom_mm);
      CHECK(corner.y_mm < kPaperTop_mm);
      CHECK((corner.y_mm < kLaneBottom_mm || corner.y_mm > kLaneTop_mm));
    }
  }
  CHECK(kColumnsPerPage * kColumnPitch_mm == kPageLength_mm);
}

TEST_CASE("ticks are longest at tens and longer at fives") {
  CHECK(tick_length_mm(0) == 8.0);
  CHECK(tick_length_mm(1) == 3.0);
  CHECK(tick_length_mm(5) == 5.0);
  CHECK(tick_length_mm(1990) == 8.0);
  CHECK_THROWS_AS((void)tick_length_mm(-1), std::invalid_argument);
}

TEST_CASE("a marker that is not on the scale is refused") {
  CHECK_THROWS_AS((void)marker_corners(100), std::invalid_argument);
  CHECK_THROWS_AS((void)marker_centre(-1), std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
