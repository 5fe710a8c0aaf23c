#include "demo_video/camera_mount.h"

#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;

NightSettings shaken_night() {
  NightSettings night;
  night.mount.bump_px = 6;
  night.mount.bump_deg = 0.3;
  night.mount.bump_at_s = 6000;
  night.mount.creep_px = 2;
  return night;
}

WallPlace aim(const NightSettings& night) {
  return {night.camera.aim_x_mm, night.camera.aim_y_mm};
}

TEST_SUITE("camera_mount") {
  TEST_CASE("a mount that holds shows every place where the camera alone does, to the last bit") {
    const NightSettings night;
    CHECK_FALSE(is_moving(night.mount));
    const WallPlace place{333, -21};
    const PixelPlace alone = CameraView(night.camera).pixel_from_wall(place);
    const PixelPlace later = view_at(night, 9876).pixel_from_wall(place);
    CHECK(later.x_px == alone.x_px);
    CHECK(later.y_px == alone.y_px);
  }

  TEST_CASE("creep begins at nothing, ends at what is set, and slows down") {
    const NightSettings night = shaken_night();
    CHECK(creep_px_at(night, 0) == 0);
    CHECK(creep_px_at(night, night.duration_s) == within_abs(2, 1e-12));
    CHECK(creep_px_at(night, night.duration_s / 2) > 1.5);  // (1 - e^-1.25)/(1 - e^-2.5) = 0.777
  }

  TEST_CASE("the knock moves the middle of the picture by what is set, at its moment") {
    NightSettings night = shaken_night();
    night.mount.creep_px = 0;
    const PixelPlace before = view_at(night, 5999.9).pixel_from_wall(aim(night));
    const PixelPlace after = view_at(night, 6000).pixel_from_wall(aim(night));
    CHECK(before.x_px == within_abs(639.5, 1e-9));
    // the tilt lengthens the pan by 1/cos(tilt), 1e-6
    CHECK(after.x_px - before.x_px == within_abs(6 * std::cos(std::numbers::pi / 6), 2e-5));
    CHECK(after.y_px - before.y_px == within_abs(6 * std::sin(std::numbers::pi / 6), 1e-9));
  }

  TEST_CASE("the knock turns the picture clockwise") {
    NightSettings night = shaken_night();
    night.mount.bump_px = night.mount.creep_px = 0;
    const WallPlace right{aim(night).x_mm + 50, aim(night).y_mm};
    const auto angle_rad = [&](double t_s) {
      const PixelPlace a = view_at(night, t_s).pixel_from_wall(aim(night));
      const PixelPlace b = view_at(night, t_s).pixel_from_wall(right);
      return std::atan2(b.y_px - a.y_px, b.x_px - a.x_px);
    };
    CHECK(angle_rad(6000) - angle_rad(0) == within_abs(0.3 * std::numbers::pi / 180, 1e-12));
  }
}

}  // namespace
}  // namespace nightswing::demo
