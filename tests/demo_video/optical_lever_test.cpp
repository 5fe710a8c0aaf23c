#include "demo_video/optical_lever.h"

#include <cmath>
#include <numbers>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;

// Values: s = D (tan(alpha + 2 theta) - tan alpha), computed by two independent routes.
TEST_SUITE("optical_lever") {
  TEST_CASE("the spot moves by the exact tangent of twice the rotation") {
    OpticalLever lever;
    lever.mirror_to_wall_m = 4;
    lever.beam_angle_deg = 0;
    CHECK(path_mm(lever, 5e-3) - path_mm(lever, 0) == within_abs(40.00133, 5e-6));
    lever.beam_angle_deg = 10;
    CHECK(path_mm(lever, 5e-3) - path_mm(lever, 0) == within_abs(41.31788, 5e-6));
  }

  TEST_CASE("a reversed lever mirrors the path about the foot") {
    OpticalLever lever;
    OpticalLever reversed = lever;
    reversed.reversed = true;
    CHECK(path_mm(reversed, 3e-3) == -path_mm(lever, 3e-3));
  }

  TEST_CASE("the path runs through the foot, rising by the tilt") {
    OpticalLever lever;
    lever.path_tilt_deg = 0.4;
    lever.beam_angle_deg = 0;
    const WallPlace foot = spot_place(lever, 0);
    CHECK(foot.x_mm == within_abs(lever.foot_x_mm, 1e-12));
    CHECK(foot.y_mm == within_abs(lever.foot_y_mm, 1e-12));
    const WallPlace out = spot_place(lever, 8e-3);
    CHECK((out.y_mm - foot.y_mm) / (out.x_mm - foot.x_mm) ==
          within_abs(std::tan(0.4 * std::numbers::pi / 180), 1e-12));  // rounding
    CHECK(std::hypot(out.x_mm - foot.x_mm, out.y_mm - foot.y_mm) ==
          within_abs(path_mm(lever, 8e-3), 1e-10));  // rounding
  }

  TEST_CASE("a small shift on the wall needs the rotation that the exact path gives back") {
    OpticalLever lever;
    lever.beam_angle_deg = 5;
    const double rotation_rad = small_rotation_rad(lever, 0.01);
    // The next order is tan(alpha) * shift / D relative, 3e-7 here.
    CHECK(path_mm(lever, rotation_rad) - path_mm(lever, 0) == within_abs(0.01, 1e-8));
  }
}

}  // namespace
}  // namespace nightswing::demo
