#include "analysis/positions/optical_lever.h"

#include <cmath>
#include <numbers>

#include <doctest/doctest.h>
#include <Eigen/Geometry>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

namespace {

constexpr double kRadPerDeg = std::numbers::pi / 180;

/// Where a ray from the laser ends on an upright wall at y = D, traced with vectors and matrices:
/// the mirror's normal is tipped up about its horizontal axis, then turned about the upright wire.
double traced_mm(const OpticalLever& lever, double mirror_turn_rad) {
  using Eigen::AngleAxisd;
  using Eigen::Vector3d;
  const double d_mm = 1e3 * lever.mirror_to_wall_m;
  const double laser_side_mm = lever.scale_factor * (lever.laser_mm - lever.foot_mm);
  Vector3d laser(laser_side_mm, d_mm, 0);
  laser.z() = std::tan(lever.laser_elevation_rad) * laser.norm();
  const Vector3d normal = AngleAxisd(-mirror_turn_rad, Vector3d::UnitZ()) *
                          AngleAxisd(lever.mirror_lean_rad, Vector3d::UnitX()) * Vector3d::UnitY();
  const Eigen::Matrix3d mirror =
      Eigen::Matrix3d::Identity() - 2 * normal * normal.transpose();  // Householder
  const Vector3d ray = mirror * -laser;
  return lever.foot_mm + ray.x() * d_mm / ray.y() / lever.scale_factor;
}

/// The mirror's turn at which the traced ray meets the foot, by bisection: 60 halvings of a radian
/// are far below rounding.
double turn_towards_foot(const OpticalLever& lever) {
  double low_rad = -0.5;
  double high_rad = 0.5;
  for (int i = 0; i < 60; ++i) {
    const double middle_rad = (low_rad + high_rad) / 2;
    (traced_mm(lever, middle_rad) < lever.foot_mm ? low_rad : high_rad) = middle_rad;
  }
  return low_rad;
}

OpticalLever leaning_lever() {
  return {.mirror_to_wall_m = 3.2,
          .foot_mm = 150.0,
          .scale_factor = 0.998,
          .mirror_lean_rad = 6 * kRadPerDeg,
          .laser_elevation_rad = -4 * kRadPerDeg,
          .laser_mm = 700.0};
}

}  // namespace

TEST_SUITE("optical_lever") {
  TEST_CASE("a leaning mirror and a laser aside send the spot where a traced ray ends") {
    const OpticalLever lever = leaning_lever();
    const double towards_foot_rad = turn_towards_foot(lever);
    for (const double theta_rad : {-0.15, -0.02, 0.0, 0.005, 0.12}) {
      const double traced = traced_mm(lever, towards_foot_rad + theta_rad);
      // 1e-9: rounding of positions near 1e3 mm, through a few dozen operations
      CHECK(x_mm_from_rotation(lever, theta_rad) == within_abs(traced, 1e-9));
      CHECK(rotation_rad(lever, traced) == within_abs(theta_rad, 1e-12));
    }
  }

  TEST_CASE("a wall that leans changes nothing if its distance is that at the spot's height") {
    using Eigen::Vector3d;
    // A wall that stands oblique by 8 degrees and leans by 3, hit from a laser 5 degrees above the
    // mirror; wall points P: normal . P = 3200 mm. The mirror stands upright.
    const double oblique_rad = 8 * kRadPerDeg;
    const double wall_lean_rad = 3 * kRadPerDeg;
    const Vector3d level(std::sin(oblique_rad), std::cos(oblique_rad), 0);
    const Vector3d normal =
        std::cos(wall_lean_rad) * level + std::sin(wall_lean_rad) * Vector3d::UnitZ();
    const Vector3d along = level.cross(Vector3d::UnitZ());  // of the scale
    const auto spot = [&](double turn_rad) {
      const double elevation_rad = -5 * kRadPerDeg;
      const Vector3d ray(std::sin(2 * turn_rad), std::cos(2 * turn_rad), std::tan(elevation_rad));
      return Vector3d(ray * 3200.0 / normal.dot(ray));
    };
    const double height_mm = spot(0).z();
    const double at_mirror_mm = 3200.0 / std::cos(wall_lean_rad);
    const double at_spot_mm = at_mirror_mm - height_mm * std::tan(wall_lean_rad);
    const auto turned = [&](double wall_mm) {
      const OpticalLever lever{.mirror_to_wall_m = 1e-3 * wall_mm, .foot_mm = 0.0};
      return rotation_rad(lever, along.dot(spot(0.03))) -
             rotation_rad(lever, along.dot(spot(-0.03)));
    };
    // What is left: the path does not run quite level, tan 5 deg tan 3 deg of small terms.
    CHECK(turned(at_spot_mm) == within_rel(0.06, 1e-4));
    CHECK(std::abs(turned(at_mirror_mm) / 0.06 - 1) > 0.004);  // tan 5 deg tan 3 deg = 0.46 %
  }

  TEST_CASE("small swings of a mirror that leans by five degrees turn the beam by 2.015427") {
    // 1 + cos(0)/cos(10 deg), from plane trigonometry at right incidence.
    const OpticalLever lever{
        .mirror_to_wall_m = 4.0, .foot_mm = 0.0, .mirror_lean_rad = 5 * kRadPerDeg};
    // 1e-6: the reference has six decimals, and the next order of 1e-4 rad is 1e-8.
    CHECK(beam_angle_rad(lever, x_mm_from_rotation(lever, 1e-4)) / 1e-4 ==
          within_abs(2.015427, 1e-6));
  }

  TEST_CASE("a laser's place does not matter to an upright mirror") {
    OpticalLever lever = leaning_lever();
    lever.mirror_lean_rad = 0.0;
    const double towards_foot_rad = turn_towards_foot(lever);
    for (const double theta_rad : {-0.1, 0.03}) {
      // Rounding, as above; the trace does take the laser's place and height.
      CHECK(x_mm_from_rotation(lever, theta_rad) ==
            within_abs(traced_mm(lever, towards_foot_rad + theta_rad), 1e-9));
    }
  }

  TEST_CASE("straightened positions of a leaning mirror are proportional to rotation") {
    const OpticalLever lever = leaning_lever();
    const auto straight_at = [&](double theta_rad) {
      return straightened_mm(lever, x_mm_from_rotation(lever, theta_rad)) - lever.foot_mm;
    };
    CHECK(straight_at(0.1) / straight_at(0.001) == within_rel(100.0, 1e-9));  // rounding of 6 mm
    CHECK(x_mm_from_straightened(lever, straightened_mm(lever, 900.0)) ==
          within_abs(900.0, 1e-9));  // rounding
    // Near the foot as the reading: the next order over 0.1 mm of 3.2 m is below 1e-4 of it.
    CHECK(straightened_mm(lever, 150.1) - 150.0 == within_rel(0.1, 1e-4));
  }

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
