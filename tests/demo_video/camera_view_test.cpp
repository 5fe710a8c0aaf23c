#include "demo_video/camera_view.h"

#include <cmath>
#include <numbers>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;

constexpr double kRounding = 1e-9;  // of numbers up to 1280

TEST_SUITE("camera_view") {
  TEST_CASE("a camera straight before the wall scales by focal length over distance") {
    Camera camera;
    camera.yaw_deg = camera.pitch_deg = camera.roll_deg = 0;
    const CameraView view(camera);
    const double focal_px = 640 / std::tan(17.5 * std::numbers::pi / 180);  // pinhole
    const double scale = focal_px / camera.distance_mm;
    const PixelPlace place = view.pixel_from_wall({camera.aim_x_mm + 100, camera.aim_y_mm + 50});
    CHECK(place.x_px == within_abs(639.5 + 100 * scale, kRounding));
    CHECK(place.y_px == within_abs(359.5 - 50 * scale, kRounding));
  }

  TEST_CASE("the point aimed at is in the middle of the picture from anywhere") {
    Camera camera;
    camera.yaw_deg = 20;
    camera.pitch_deg = -15;
    camera.roll_deg = 7;
    const PixelPlace place = CameraView(camera).pixel_from_wall({camera.aim_x_mm, camera.aim_y_mm});
    CHECK(place.x_px == within_abs(639.5, kRounding));
    CHECK(place.y_px == within_abs(359.5, kRounding));
  }

  TEST_CASE("from the right the right end of the wall looks larger, from above the top") {
    Camera camera;
    camera.roll_deg = 0;
    camera.pitch_deg = 0;
    camera.yaw_deg = 10;
    CHECK(CameraView(camera).px_per_mm({400, 12})[1] > CameraView(camera).px_per_mm({80, 12})[1]);
    camera.yaw_deg = 0;
    camera.pitch_deg = 10;
    CHECK(CameraView(camera).px_per_mm({240, 90})[0] > CameraView(camera).px_per_mm({240, -40})[0]);
  }

  TEST_CASE("a camera turned clockwise sees level things fall to the left") {
    Camera camera;
    camera.yaw_deg = camera.pitch_deg = 0;
    camera.roll_deg = 1;
    const CameraView view(camera);
    const PixelPlace left = view.pixel_from_wall({140, 12}),
                     right = view.pixel_from_wall({340, 12});
    // The picture of the wall turns by the same angle the other way.
    CHECK(std::atan2(left.y_px - right.y_px, right.x_px - left.x_px) ==
          within_abs(std::numbers::pi / 180, 1e-12));
  }

  TEST_CASE("wall to pixel and back is the same place, with and without distortion") {
    for (const double k1 : {0.0, -0.08, 0.05}) {
      Camera camera;
      camera.k1 = k1;
      const CameraView view(camera);
      for (const WallPlace place : {WallPlace{3, -40}, WallPlace{240, 12}, WallPlace{470, 90}}) {
        const WallPlace back = view.wall_from_pixel(view.pixel_from_wall(place));
        CHECK(back.x_mm == within_abs(place.x_mm, kRounding));
        CHECK(back.y_mm == within_abs(place.y_mm, kRounding));
      }
    }
  }

  TEST_CASE("the homography is the same map") {
    const CameraView view{Camera{}};
    const WallPlace place{333, -21};
    const cv::Vec3d image =
        view.pixel_from_wall_homography() * cv::Vec3d(place.x_mm, place.y_mm, 1);
    const PixelPlace expected = view.pixel_from_wall(place);
    CHECK(image[0] / image[2] == within_abs(expected.x_px, kRounding));
    CHECK(image[1] / image[2] == within_abs(expected.y_px, kRounding));
  }
}

}  // namespace
}  // namespace nightswing::demo
