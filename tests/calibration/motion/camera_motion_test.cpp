#include "calibration/motion/camera_motion.h"

#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::calibration;
using namespace nightswing::test;

namespace {

constexpr PixelPoint kCentre{639.5, 359.5};
constexpr double kRounding = 1e-9;
constexpr CameraMotion kMotion{5.2, -3.1, 0.02, 1.004, 3e-6, -2e-6};

}  // namespace

TEST_SUITE("camera_motion") {
  TEST_CASE("no motion leaves every place where it is") {
    const PixelPoint place = moved_from_reference({}, kCentre, {12.25, 700.5});
    CHECK(place == PixelPoint{12.25, 700.5});
  }

  TEST_CASE("a quarter turn takes right to down, as seen") {
    const PixelPoint place = moved_from_reference(
        {.rotation_rad = std::numbers::pi / 2}, kCentre, {kCentre.x_px + 100, kCentre.y_px});
    CHECK(place.x_px == within_abs(kCentre.x_px, kRounding));
    CHECK(place.y_px == within_abs(kCentre.y_px + 100, kRounding));
  }

  TEST_CASE("there and back is the same place, all over the picture") {
    for (const PixelPoint place : {PixelPoint{0, 0}, {1279, 719}, {640, 360}, {100.25, 650.75}}) {
      const PixelPoint back =
          reference_from_moved(kMotion, kCentre, moved_from_reference(kMotion, kCentre, place));
      CHECK(back.x_px == within_abs(place.x_px, kRounding));
      CHECK(back.y_px == within_abs(place.y_px, kRounding));
    }
    CHECK_THROWS_AS(static_cast<void>(reference_from_moved({.zoom = 0.0}, kCentre, {1, 1})),
                    std::invalid_argument);
  }

  TEST_CASE("a camera that turns about its lens is a shift with its keystone") {
    // Pinhole: x = f tan(angle). A pan by `a` takes the ray (x, y, f) to the one turned by a; the
    // exact image is (f (x cos a + f sin a), f y) / (f cos a - x sin a).
    const double f = 2000.0;
    const double a = 0.003;
    const CameraMotion pan{.shift_x_px = f * a, .keystone_x_per_px = -a / f};
    for (const double x : {-600.0, 0.0, 450.0}) {
      for (const double y : {-300.0, 200.0}) {
        const double w = f * std::cos(a) - x * std::sin(a);
        const PixelPoint place =
            moved_from_reference(pan, kCentre, {kCentre.x_px + x, kCentre.y_px + y});
        // what is left out is of second order: f a^2 = 0.018 px
        CHECK(place.x_px - kCentre.x_px ==
              within_abs(f * (x * std::cos(a) + f * std::sin(a)) / w, 0.02));
        CHECK(place.y_px - kCentre.y_px == within_abs(f * y / w, 0.02));
      }
    }
  }

  TEST_CASE("the local turn is the derivative of the map") {
    const PixelPoint place{200.0, 500.0};
    const double h = 0.01;
    const Eigen::Matrix2d turn = local_turn(kMotion, kCentre, place);
    const auto at = [&](double dx, double dy) {
      const PixelPoint p =
          moved_from_reference(kMotion, kCentre, {place.x_px + dx, place.y_px + dy});
      return Eigen::Vector2d(p.x_px, p.y_px);
    };
    const Eigen::Vector2d along_x = (at(h, 0) - at(-h, 0)) / (2 * h);
    const Eigen::Vector2d along_y = (at(0, h) - at(0, -h)) / (2 * h);
    CHECK((turn.col(0) - along_x).norm() < 1e-8);  // rounding of 1e3 px over 0.02 px
    CHECK((turn.col(1) - along_y).norm() < 1e-8);
  }
}
