#pragma once

#include <cstdint>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/spaces.h"

/// Pictures of the printed scale as a camera would see it, for tests. Written from the description
/// of the layout, without the library's constants, so that a slip in one does not hide in the
/// other.
namespace nightswing::test {

/// A pinhole camera that looks at `aim` on the wall. With all angles 0 it looks straight at it; yaw
/// turns it to the side of the scale, pitch above it, roll about its own axis.
struct CameraPose {
  double yaw_rad = 0.0;
  double pitch_rad = 0.0;
  double roll_rad = 0.0;
  double distance_mm = 330.0;
  double focal_px = 1100.0;
  calibration::WallPoint aim{120.0, 25.0};
};

struct RenderOptions {
  cv::Size size{1280, 720};
  double blur_px =
      0.8;  ///< standard deviation of the lens's point image, besides the pixel's square
  double noise_dn = 2.0;  ///< standard deviation of a gray value
  double paper_dn = 205.0;
  double ink_dn = 30.0;
  double wall_dn = 120.0;
  double shading = 0.2;  ///< relative loss of light from the left to the right border
  int columns = 6;
  std::vector<cv::Rect> covered = {};  ///< pixels hidden by a mid-gray hand
  std::uint64_t seed = 1;
};

/// The homography from (x_mm, y_mm, 1) to (x_px, y_px, 1) times a factor.
cv::Matx33d pixel_from_wall_matrix(const CameraPose& pose, cv::Size size);

calibration::PixelPoint project(const cv::Matx33d& pixel_from_wall, calibration::WallPoint wall);
calibration::WallPoint unproject(const cv::Matx33d& pixel_from_wall, calibration::PixelPoint pixel);

/// Pose with angles up to the given one, drawn evenly.
CameraPose random_pose(cv::RNG& random, double most_rad);

/// The picture, 8-bit gray. Sampled at 3 x 3 fine pixels a pixel, each the mean of 8 x 8 places
/// wherever surfaces meet in it, blurred, summed to pixels, shaded, covered, with noise.
cv::Mat render_scale(const cv::Matx33d& pixel_from_wall, const RenderOptions& options);

}  // namespace nightswing::test
