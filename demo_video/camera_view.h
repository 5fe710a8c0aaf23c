#pragma once

#include <opencv2/core.hpp>

#include "demo_video/optical_lever.h"

namespace nightswing::demo {

/// A place in the picture [px]: the centre of the top left pixel is (0, 0), x right, y down. The
/// picture therefore reaches from -0.5 to width - 0.5.
struct PixelPlace {
  double x_px;
  double y_px;
};

/// How a camera is turned about its lens from where it was put up: pan moves the picture to the
/// right, tilt moves it down, roll turns it clockwise as seen.
struct CameraTurn {
  double pan_rad = 0;
  double tilt_rad = 0;
  double roll_rad = 0;
};

/// A pinhole camera before the flat wall, with one coefficient of radial distortion.
class CameraView {
 public:
  explicit CameraView(const Camera& camera, const CameraTurn& turn = {});

  [[nodiscard]] PixelPlace pixel_from_wall(const WallPlace& place) const;
  [[nodiscard]] WallPlace wall_from_pixel(const PixelPlace& place) const;

  /// Pixels in one millimetre along x and along y of the wall, at a place.
  [[nodiscard]] cv::Vec2d px_per_mm(const WallPlace& place) const;

  /// The map of (x_mm, y_mm, 1) to homogeneous pixels without the distortion, last element 1.
  [[nodiscard]] cv::Matx33d pixel_from_wall_homography() const;

  /// Pixels that a ray at 45 degrees to the axis is off the middle.
  [[nodiscard]] double focal_px() const { return focal_px_; }

 private:
  double focal_px_;
  double middle_x_px_;
  double middle_y_px_;
  double k1_;
  cv::Matx33d ray_from_wall_;  // (x_mm, y_mm, 1) to (right, down, forward) of the camera
  cv::Matx33d wall_from_ray_;
};

}  // namespace nightswing::demo
