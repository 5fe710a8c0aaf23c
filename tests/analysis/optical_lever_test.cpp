#include "analysis/optical_lever.h"

#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

TEST_SUITE("optical_lever") {
  TEST_CASE("the spot moves by D tan 2 theta from the perpendicular") {
    // Plane geometry: 4000 mm * tan(0.010) = 40.00133 mm (small angles would give 40.00000).
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 100.0};
    const double move_mm = x_mm_from_rotation(lever, 0.005) - x_mm_from_rotation(lever, 0.0);
    CHECK(move_mm == within_abs(40.00133, 5e-6));  // the reference has five decimals
  }

  TEST_CASE("a beam that leaves at ten degrees moves further for the same rotation") {
    // Plane geometry: 4000 mm * (tan(10 deg + 0.010) - tan(10 deg)) = 41.31788 mm.
    const OpticalLever lever{.mirror_to_wall_m = 4.0, .foot_mm = 100.0};
    const double alpha_rad = 10 * std::numbers::pi / 180;
    const double move_mm =
        x_mm_from_rotation(lever, alpha_rad / 2 + 0.005) - x_mm_from_rotation(lever, alpha_rad / 2);
    CHECK(move_mm == within_abs(41.31788, 5e-6));  // the reference has five decimals
  }

  TEST_CASE("rotation and reading undo each other") {
    const OpticalLever lever{.mirror_to_wall_m = 3.11, .foot_mm = 240.0, .scale_factor = 0.9987};
    for (const double x_mm : {-900.0, 0.0, 239.0, 240.0, 1500.0}) {
      // 1e-10 mm: rounding of doubles near 1e3 with a factor of a hundred to spare
      CHECK(x_mm_from_rotation(lever, rotation_rad(lever, x_mm)) == within_abs(x_mm, 1e-10));
      CHECK(x_mm_from_straightened(lever, straightened_mm(lever, x_mm)) == within_abs(x_mm, 1e-10));
    }
  }

  TEST_CASE("straightened positions are proportional to rotation") {
    const OpticalLever lever{.mirror_to_wall_m = 2.0, .foot_mm = -50.0};
    for (const double theta_rad : {-0.1, -0.01, 0.02, 0.2}) {
      // The beam turns by 2 theta, hence 2 D theta on a wall bent round the mirror.
      const double expected_mm = -50.0 + 2 * 2000.0 * theta_rad;
      CHECK(straightened_mm(lever, x_mm_from_rotation(lever, theta_rad)) ==
            within_abs(expected_mm, 1e-9));  // rounding
    }
  }

  TEST_CASE("the straightened position touches the reading at the foot") {
    // Series of atan: x - straight = x^3/(3 D^2) + ..., here 10^3/(3 * 5000^2) = 1.333e-5 mm.
    const OpticalLever lever{.mirror_to_wall_m = 5.0, .foot_mm = 0.0};
    CHECK(10.0 - straightened_mm(lever, 10.0) == within_rel(1.3333e-5, 1e-4));
  }

  TEST_CASE("a stretched scale means more rotation for the same reading") {
    // A scale that calls 1.01 mm a millimetre: readings of 100 are 101 mm on the wall.
    const OpticalLever stretched{.mirror_to_wall_m = 4.0, .foot_mm = 0.0, .scale_factor = 1.01};
    CHECK(beam_angle_rad(stretched, 100.0) == within_rel(std::atan2(101.0, 4000.0), 1e-14));
  }

  TEST_CASE("scaling the wall's distance and the readings together leaves the rotation") {
    const OpticalLever near_wall{.mirror_to_wall_m = 2.0, .foot_mm = 30.0};
    const OpticalLever far_wall{.mirror_to_wall_m = 4.0, .foot_mm = 60.0};
    CHECK(rotation_rad(near_wall, 170.0) == within_rel(rotation_rad(far_wall, 340.0), 1e-14));
  }
}
