#pragma once

#include <opencv2/core.hpp>

#include "demo_video/camera_view.h"

namespace nightswing::demo {

/// The dim wall without the spot: matt paint, the taped paper scale, and below it an ordinary
/// ruler whose millimetres are true. Every pixel is the mean over its area (89 points of a
/// Fibonacci lattice), so that edges are where they should be.
/// The paint keeps its grain when the view is turned away from the one in the settings.
/// returns  CV_32FC3, blue green red, in DN of the camera; not rounded, without noise.
[[nodiscard]] cv::Mat render_wall(const NightSettings& settings, const CameraView& view);

}  // namespace nightswing::demo
