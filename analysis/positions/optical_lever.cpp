#include "analysis/positions/optical_lever.h"

#include <cmath>

namespace nightswing::analysis {
namespace {

// The distance to the wall in units of the scale, so that readings and distance can be divided.
double distance_mm(const OpticalLever& lever) {
  return lever.mirror_to_wall_m * 1e3 / lever.scale_factor;
}

// From above, seen from the mirror: where the beam leaves if the normal stands at psi, both counted
// from the laser, and how many radians it turns with each of the mirror.
struct Reflection {
  double beam_rad;
  double slope;
};

Reflection reflection(const OpticalLever& lever, double psi_rad) {
  const double level_normal = std::cos(lever.mirror_lean_rad);
  const double level_laser = std::cos(lever.laser_elevation_rad);
  const double sine = std::sin(psi_rad);
  const double cosine = std::cos(psi_rad);
  const double facing = level_normal * level_laser * cosine +
                        std::sin(lever.mirror_lean_rad) * std::sin(lever.laser_elevation_rad);
  const double facing_slope = -level_normal * level_laser * sine;
  const double aside = 2 * facing * level_normal * sine;
  const double ahead = 2 * facing * level_normal * cosine - level_laser;
  const double aside_slope = 2 * level_normal * (facing_slope * sine + facing * cosine);
  const double ahead_slope = 2 * level_normal * (facing_slope * cosine - facing * sine);
  return {.beam_rad = std::atan2(aside, ahead),
          .slope = (aside_slope * ahead - aside * ahead_slope) / (aside * aside + ahead * ahead)};
}

// Where the normal stands for a beam at beam_rad, both from the laser, by Newton's method: the
// reflection is so nearly linear that two or three steps reach rounding.
double normal_rad(const OpticalLever& lever, double beam_rad) {
  constexpr int kMostSteps = 20;
  double psi_rad = beam_rad / 2;
  if (lever.mirror_lean_rad == 0.0) return psi_rad;
  for (int i = 0; i < kMostSteps; ++i) {
    const Reflection there = reflection(lever, psi_rad);
    const double step_rad = (beam_rad - there.beam_rad) / there.slope;
    psi_rad += step_rad;
    if (std::abs(step_rad) < 1e-15) break;
  }
  return psi_rad;
}

double laser_rad(const OpticalLever& lever) {
  return beam_angle_rad(lever, lever.laser_mm);
}

}  // namespace

double straightened_mm_per_rad(const OpticalLever& lever) {
  if (lever.mirror_lean_rad == 0.0) return 2 * distance_mm(lever);
  return distance_mm(lever) * reflection(lever, normal_rad(lever, -laser_rad(lever))).slope;
}

double beam_angle_rad(const OpticalLever& lever, double x_mm) {
  return std::atan((x_mm - lever.foot_mm) / distance_mm(lever));
}

double rotation_rad(const OpticalLever& lever, double x_mm) {
  const double beam_rad = beam_angle_rad(lever, x_mm);
  if (lever.mirror_lean_rad == 0.0) return beam_rad / 2;
  return normal_rad(lever, beam_rad - laser_rad(lever)) - normal_rad(lever, -laser_rad(lever));
}

double x_mm_from_rotation(const OpticalLever& lever, double theta_rad) {
  double beam_rad = 2 * theta_rad;
  if (lever.mirror_lean_rad != 0.0) {
    const double psi_rad = theta_rad + normal_rad(lever, -laser_rad(lever));
    beam_rad = reflection(lever, psi_rad).beam_rad + laser_rad(lever);
  }
  return lever.foot_mm + distance_mm(lever) * std::tan(beam_rad);
}

double straightened_mm(const OpticalLever& lever, double x_mm) {
  return lever.foot_mm + straightened_mm_per_rad(lever) * rotation_rad(lever, x_mm);
}

double x_mm_from_straightened(const OpticalLever& lever, double straight_mm) {
  return x_mm_from_rotation(lever, (straight_mm - lever.foot_mm) / straightened_mm_per_rad(lever));
}

}  // namespace nightswing::analysis
