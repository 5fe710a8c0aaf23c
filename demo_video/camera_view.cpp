#include "demo_video/camera_view.h"

#include <cmath>

namespace nightswing::demo {
namespace {

cv::Matx33d rays_of(const Camera& camera) {
  const double yaw = camera.yaw_deg * kRadPerDeg, pitch = camera.pitch_deg * kRadPerDeg;
  const double roll = camera.roll_deg * kRadPerDeg;
  const cv::Vec3d back(
      std::sin(yaw) * std::cos(pitch), std::sin(pitch), std::cos(yaw) * std::cos(pitch));
  const cv::Vec3d lens = cv::Vec3d(camera.aim_x_mm, camera.aim_y_mm, 0) + camera.distance_mm * back;
  const cv::Vec3d forward = -back;
  const cv::Vec3d level = cv::normalize(forward.cross(cv::Vec3d(0, 1, 0)));
  const cv::Vec3d plumb = forward.cross(level);
  const cv::Vec3d right = std::cos(roll) * level + std::sin(roll) * plumb;
  const cv::Vec3d down = -std::sin(roll) * level + std::cos(roll) * plumb;
  return {right[0],
          right[1],
          -right.dot(lens),  //
          down[0],
          down[1],
          -down.dot(lens),  //
          forward[0],
          forward[1],
          -forward.dot(lens)};
}

// Rays (right, down, forward) of the turned camera from those of the camera as it was.
cv::Matx33d turned(const CameraTurn& turn) {
  const double cp = std::cos(turn.pan_rad), sp = std::sin(turn.pan_rad);
  const double ct = std::cos(turn.tilt_rad), st = std::sin(turn.tilt_rad);
  const double cr = std::cos(turn.roll_rad), sr = std::sin(turn.roll_rad);
  const cv::Matx33d pan(cp, 0, sp, 0, 1, 0, -sp, 0, cp);
  const cv::Matx33d tilt(1, 0, 0, 0, ct, st, 0, -st, ct);
  const cv::Matx33d roll(cr, -sr, 0, sr, cr, 0, 0, 0, 1);
  return tilt * pan * roll;
}

}  // namespace

CameraView::CameraView(const Camera& camera, const CameraTurn& turn)
    : focal_px_(camera.width_px / (2 * std::tan(camera.field_of_view_deg * kRadPerDeg / 2))),
      middle_x_px_((camera.width_px - 1) / 2.0),
      middle_y_px_((camera.height_px - 1) / 2.0),
      k1_(camera.k1),
      ray_from_wall_(turned(turn) * rays_of(camera)),
      wall_from_ray_(ray_from_wall_.inv()) {}

PixelPlace CameraView::pixel_from_wall(const WallPlace& place) const {
  const cv::Vec3d ray = ray_from_wall_ * cv::Vec3d(place.x_mm, place.y_mm, 1);
  const double u = ray[0] / ray[2], v = ray[1] / ray[2];
  const double stretch = focal_px_ * (1 + k1_ * (u * u + v * v));
  return {middle_x_px_ + stretch * u, middle_y_px_ + stretch * v};
}

WallPlace CameraView::wall_from_pixel(const PixelPlace& place) const {
  const double u_bent = (place.x_px - middle_x_px_) / focal_px_;
  const double v_bent = (place.y_px - middle_y_px_) / focal_px_;
  double u = u_bent, v = v_bent;
  if (k1_ != 0) {
    for (int step = 0; step < 50; ++step) {  // converges fast: k1 r^2 is small
      const double stretch = 1 + k1_ * (u * u + v * v);
      u = u_bent / stretch;
      v = v_bent / stretch;
    }
  }
  const cv::Vec3d wall = wall_from_ray_ * cv::Vec3d(u, v, 1);
  return {wall[0] / wall[2], wall[1] / wall[2]};
}

cv::Vec2d CameraView::px_per_mm(const WallPlace& place) const {
  const auto left = pixel_from_wall({place.x_mm - 0.5, place.y_mm});
  const auto right = pixel_from_wall({place.x_mm + 0.5, place.y_mm});
  const auto below = pixel_from_wall({place.x_mm, place.y_mm - 0.5});
  const auto above = pixel_from_wall({place.x_mm, place.y_mm + 0.5});
  return {std::hypot(right.x_px - left.x_px, right.y_px - left.y_px),
          std::hypot(above.x_px - below.x_px, above.y_px - below.y_px)};
}

cv::Matx33d CameraView::pixel_from_wall_homography() const {
  const cv::Matx33d lens(focal_px_, 0, middle_x_px_, 0, focal_px_, middle_y_px_, 0, 0, 1);
  const cv::Matx33d map = lens * ray_from_wall_;
  return map * (1 / map(2, 2));
}

}  // namespace nightswing::demo
