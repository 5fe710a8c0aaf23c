#include "tracker/run/camera_file.h"

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

const std::string kHeader =
    "t_s,shift_x_px,shift_y_px,rotation_rad,zoom,keystone_x_per_px,keystone_y_per_px,u_shift_px,"
    "patches,state\n";

CameraRow moved_row() {
  return {.t_s = 6000.0,
          .motion = {5.21, -3.015, 0.00525, 1.0001, -2.5e-6, 1.25e-6},
          .u_shift_px = 0.0042,
          .patches = 71,
          .state = CameraState::kMoved};
}

}  // namespace

TEST_SUITE("camera_file") {
  TEST_CASE("what is written is read back, and is the documented file to the letter") {
    const TemporaryFolder folder;
    const CameraRow blocked{.t_s = 6125.0, .patches = 3, .state = CameraState::kTooFewPatches};
    {
      CameraWriter writer(folder / "camera.csv");
      writer.append(moved_row());
      writer.append(blocked);
    }
    CHECK(read_whole_file(folder / "camera.csv") ==
          kHeader +
              "6000,5.21,-3.015,0.00525,1.0001,-0.0000025,0.00000125,0.0042,71,moved\n"
              "6125,,,,,,,,3,too few patches\n");
    const auto record = read_camera(folder / "camera.csv");
    REQUIRE(record);
    CHECK(record->warnings.empty());
    REQUIRE(record->rows.size() == 2);
    CHECK(record->rows[0] == moved_row());
    CHECK(record->rows[1] == blocked);
  }

  TEST_CASE("a run without the file is a camera that was not watched") {
    const TemporaryFolder folder;
    CHECK_FALSE(read_camera(folder / "camera.csv"));
  }

  TEST_CASE("damaged lines of camera.csv are named and passed over, the rest is kept") {
    const TemporaryFolder folder;
    write_text(folder / "camera.csv",
               kHeader +
                   "0,0,0,0,1,0,0,0.01,60,registered\n"
                   "1,0,0,0,1,0,0,0.01,60\n"
                   "2,0,0,0,1,0,0,0.01,60,shaken\n"
                   "3,0,x,0,1,0,0,0.01,60,registered\n"
                   "4,0,0,0,0,0,0,0.01,60,registered\n"
                   "0,0,0,0,1,0,0,0.01,60,registered\n"
                   "5,0,0,0,1,0,0,0.01,60,inconsistent\n"
                   "6,0,0,0,1,0,");
    const auto record = read_camera(folder / "camera.csv");
    REQUIRE(record);
    REQUIRE(record->rows.size() == 2);
    CHECK(record->rows[1].state == CameraState::kInconsistent);
    REQUIRE(record->warnings.size() == 6);
    CHECK(record->warnings[0].ends_with("camera.csv:3: line passed over: not 10 fields"));
    CHECK(record->warnings[1].ends_with(":4: line passed over: unknown state 'shaken'"));
    CHECK(record->warnings[2].ends_with(":5: line passed over: 'x' is not a number"));
    CHECK(record->warnings[3].ends_with(
        ":6: line passed over: a zoom or an uncertainty that is not positive"));
    CHECK(
        record->warnings[4].ends_with(":7: line passed over: time does not grow (0 s after 0 s)"));
    CHECK(record->warnings[5].ends_with("the last line is torn and was passed over"));
  }

  TEST_CASE("another header is an error") {
    const TemporaryFolder folder;
    write_text(folder / "camera.csv", "t_s,x\n");
    CHECK_THROWS_AS(static_cast<void>(read_camera(folder / "camera.csv")), nightswing::InputError);
  }
}
