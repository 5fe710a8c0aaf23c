#include "analysis/optical_lever.h"

#include <cmath>

namespace nightswing::analysis {
namespace {

// The distance to the wall in units of the scale, so that readings and distance can be divided.
double distance_mm(const OpticalLever& lever) {
  return lever.mirror_to_wall_m * 1e3 / lever.scale_factor;
}

}  // namespace

double beam_angle_rad(const OpticalLever& lever, double x_mm) {
  return std::atan((x_mm - lever.foot_mm) / distance_mm(lever));
}

double rotation_rad(const OpticalLever& lever, double x_mm) {
  return beam_angle_rad(lever, x_mm) / 2;
}

double x_mm_from_rotation(const OpticalLever& lever, double theta_rad) {
  return lever.foot_mm + distance_mm(lever) * std::tan(2 * theta_rad);
}

double straightened_mm(const OpticalLever& lever, double x_mm) {
  return lever.foot_mm + distance_mm(lever) * beam_angle_rad(lever, x_mm);
}

double x_mm_from_straightened(const OpticalLever& lever, double straight_mm) {
  return lever.foot_mm +
         distance_mm(lever) * std::tan((straight_mm - lever.foot_mm) / distance_mm(lever));
}

}  // namespace nightswing::analysis
