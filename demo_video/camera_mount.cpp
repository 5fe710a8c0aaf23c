#include "demo_video/camera_mount.h"

#include <cmath>

namespace nightswing::demo {

bool is_moving(const Mount& mount) {
  return mount.bump_px != 0 || mount.bump_deg != 0 || mount.creep_px != 0;
}

bool is_bumped(const Mount& mount, double t_s) {
  return (mount.bump_px != 0 || mount.bump_deg != 0) && t_s >= mount.bump_at_s;
}

double creep_px_at(const NightSettings& settings, double t_s) {
  const double time_s = settings.mount.creep_time_share * settings.duration_s;
  return settings.mount.creep_px * std::expm1(-t_s / time_s) /
         std::expm1(-settings.duration_s / time_s);
}

CameraView view_with(const NightSettings& settings, double creep_px, bool bumped) {
  const Mount& mount = settings.mount;
  const double creep_rad = mount.creep_direction_deg * kRadPerDeg;
  double right_px = creep_px * std::cos(creep_rad), down_px = creep_px * std::sin(creep_rad);
  if (bumped) {
    right_px += mount.bump_px * std::cos(mount.bump_direction_deg * kRadPerDeg);
    down_px += mount.bump_px * std::sin(mount.bump_direction_deg * kRadPerDeg);
  }
  const double focal_px = CameraView(settings.camera).focal_px();
  return CameraView(settings.camera,
                    {.pan_rad = std::atan(right_px / focal_px),
                     .tilt_rad = std::atan(down_px / focal_px),
                     .roll_rad = bumped ? mount.bump_deg * kRadPerDeg : 0});
}

CameraView view_at(const NightSettings& settings, double t_s) {
  return view_with(settings, creep_px_at(settings, t_s), is_bumped(settings.mount, t_s));
}

}  // namespace nightswing::demo
