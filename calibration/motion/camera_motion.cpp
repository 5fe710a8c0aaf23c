#include "calibration/motion/camera_motion.h"

#include <cmath>
#include <stdexcept>

namespace nightswing::calibration {

PixelPoint moved_from_reference(const CameraMotion& motion,
                                PixelPoint centre,
                                PixelPoint reference) {
  const double x = reference.x_px - centre.x_px;
  const double y = reference.y_px - centre.y_px;
  const double c = motion.zoom * std::cos(motion.rotation_rad);
  const double s = motion.zoom * std::sin(motion.rotation_rad);
  const double w = 1.0 + motion.keystone_x_per_px * x + motion.keystone_y_per_px * y;
  return {centre.x_px + (c * x - s * y + motion.shift_x_px) / w,
          centre.y_px + (s * x + c * y + motion.shift_y_px) / w};
}

PixelPoint reference_from_moved(const CameraMotion& motion, PixelPoint centre, PixelPoint moved) {
  // (zoom R - n k^T) r = n - shift, with n the place now and k the keystone
  const double nx = moved.x_px - centre.x_px;
  const double ny = moved.y_px - centre.y_px;
  const double c = motion.zoom * std::cos(motion.rotation_rad);
  const double s = motion.zoom * std::sin(motion.rotation_rad);
  const double xx = c - nx * motion.keystone_x_per_px;
  const double xy = -s - nx * motion.keystone_y_per_px;
  const double yx = s - ny * motion.keystone_x_per_px;
  const double yy = c - ny * motion.keystone_y_per_px;
  const double determinant = xx * yy - xy * yx;
  if (!(std::abs(determinant) > 1e-12)) {
    throw std::invalid_argument("reference_from_moved: the motion cannot be undone");
  }
  const double right_x = nx - motion.shift_x_px;
  const double right_y = ny - motion.shift_y_px;
  return {centre.x_px + (yy * right_x - xy * right_y) / determinant,
          centre.y_px + (xx * right_y - yx * right_x) / determinant};
}

Eigen::Matrix2d local_turn(const CameraMotion& motion, PixelPoint centre, PixelPoint reference) {
  const PixelPoint moved = moved_from_reference(motion, centre, reference);
  const double c = motion.zoom * std::cos(motion.rotation_rad);
  const double s = motion.zoom * std::sin(motion.rotation_rad);
  const double w = 1.0 + motion.keystone_x_per_px * (reference.x_px - centre.x_px) +
                   motion.keystone_y_per_px * (reference.y_px - centre.y_px);
  Eigen::Matrix2d turn;
  turn << c, -s, s, c;
  const Eigen::Vector2d now(moved.x_px - centre.x_px, moved.y_px - centre.y_px);
  const Eigen::RowVector2d keystone(motion.keystone_x_per_px, motion.keystone_y_per_px);
  return (turn - now * keystone) / w;
}

}  // namespace nightswing::calibration
