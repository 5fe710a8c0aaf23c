#pragma once

#include <cstdint>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"

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

/// A lens: what a pinhole would show at d shows at d (1 + k1 |d|^2), d counted from the middle of
/// the picture plus offset_px, in half diagonals of the picture; negative k1 = barrel. This is the
/// common model of lens makers' software (OpenCV's, with r in other units), not the library's,
/// which leads the other way.
struct Lens {
  double k1 = 0.0;
  cv::Point2d offset_px{0.0, 0.0};
};

/// How the sheet from a column on lies against those before.
struct Joint {
  int first_column = 6;
  double right_mm = 0.0;
  double up_mm = 0.0;
  double turn_rad = 0.0;  ///< to the left, about its left end on the base line
  double larger = 0.0;    ///< relative: printed so much larger, from the same end
  double near_mm = 0.0;   ///< how far its left end stands off the wall, and its right one
  double far_mm = 0.0;
};

/// Paper that stands off the wall, as a ridge over the whole length or rising towards its end.
struct Bulge {
  double middle_mm = 0.0;  ///< height of the ridge
  double end_mm = 0.0;     ///< height at the far end, from 0 at the near one
};

/// A round light on the wall, added to what is there; it saturates as the sensor does.
struct Light {
  calibration::PixelPoint centre;
  double sigma_px;
  double peak_dn;
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
  Lens lens = {};
  Joint joint = {};
  Bulge bulge = {};
  cv::Vec3d eye_mm{0.0, 0.0, 1.0};  ///< the camera's place, see eye_of; needed off the wall only
  std::vector<Light> lights = {};
  bool clutter = false;  ///< lines of print right of the scale, graph paper below
};

/// The homography from (x_mm, y_mm, 1) to (x_px, y_px, 1) times a factor.
cv::Matx33d pixel_from_wall_matrix(const CameraPose& pose, cv::Size size);

calibration::PixelPoint project(const cv::Matx33d& pixel_from_wall, calibration::WallPoint wall);
calibration::WallPoint unproject(const cv::Matx33d& pixel_from_wall, calibration::PixelPoint pixel);

/// x, y along the wall and distance from it of the camera.
cv::Vec3d eye_of(const CameraPose& pose);

/// The pixel that shows a place of the wall (of the lifted paper, if it is lifted) through the
/// lens; and the place of the flat wall that a pixel shows.
calibration::PixelPoint seen_at(const cv::Matx33d& pixel_from_wall,
                                const RenderOptions& options,
                                calibration::WallPoint wall);
calibration::WallPoint shown_by(const cv::Matx33d& pixel_from_wall,
                                const RenderOptions& options,
                                calibration::PixelPoint pixel);

/// Pose with angles up to the given one, drawn evenly.
CameraPose random_pose(cv::RNG& random, double most_rad);

/// The picture without noise, CV_32F, as render_scale stores it.
cv::Mat noiseless_scale(const cv::Matx33d& pixel_from_wall, const RenderOptions& options);

/// What the camera stores: noise, rounding, saturation.
cv::Mat photograph(const cv::Mat& light, double noise_dn, cv::RNG& random);

/// The picture, 8-bit gray. Sampled at 3 x 3 fine pixels a pixel, each the mean of 8 x 8 places
/// wherever surfaces meet in it, blurred, summed to pixels, shaded, covered, lit, with noise.
cv::Mat render_scale(const cv::Matx33d& pixel_from_wall, const RenderOptions& options);

}  // namespace nightswing::test
