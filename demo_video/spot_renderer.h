#pragma once

#include <opencv2/core.hpp>

#include "demo_video/camera_view.h"

namespace nightswing::demo {

/// One Gaussian blot of light in the picture, its axes those of the pixels.
struct Blot {
  PixelPlace centre;
  double sigma_x_px;
  double sigma_y_px;
  cv::Vec3d peak_dn;  ///< blue, green, red
};

/// Adds a blot to a CV_32FC3 picture. Each pixel gets the mean over its area, the product of two
/// differences of the error function. The centre of mass then depends on the phase of the pixel
/// only by exp(-2 pi^2 sigma^2)/pi, 2e-5 px at sigma = 0.7 px. Light beyond 6 sigma is left out.
void add_blot(cv::Mat& picture, const Blot& blot);

/// Adds the laser spot and its halo with the centre at `place` of the wall.
void add_spot(cv::Mat& picture, const CameraView& view, const Spot& spot, const WallPlace& place);

/// Adds the fixed reflection, if the settings have one.
void add_reflection(cv::Mat& picture, const CameraView& view, const Spot& spot);

}  // namespace nightswing::demo
