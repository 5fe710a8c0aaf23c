#include "demo_video/optical_lever.h"

#include <cmath>

namespace nightswing::demo {

double path_mm(const OpticalLever& lever, double theta_rad) {
  const double out_mm =
      1000 * lever.mirror_to_wall_m * std::tan(lever.beam_angle_deg * kRadPerDeg + 2 * theta_rad);
  return lever.reversed ? -out_mm : out_mm;
}

WallPlace spot_place(const OpticalLever& lever, double theta_rad) {
  const double along_mm = path_mm(lever, theta_rad);
  const double tilt_rad = lever.path_tilt_deg * kRadPerDeg;
  return {lever.foot_x_mm + along_mm * std::cos(tilt_rad),
          lever.foot_y_mm + along_mm * std::sin(tilt_rad)};
}

double small_rotation_rad(const OpticalLever& lever, double shift_mm) {
  const double cosine = std::cos(lever.beam_angle_deg * kRadPerDeg);
  const double rotation_rad = shift_mm / (2000 * lever.mirror_to_wall_m) * cosine * cosine;
  return lever.reversed ? -rotation_rad : rotation_rad;
}

}  // namespace nightswing::demo
