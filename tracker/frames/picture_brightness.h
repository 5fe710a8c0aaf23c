#pragma once

#include <opencv2/core.hpp>

namespace nightswing::tracker {

/// The factor that makes the brightest percent of the picture (8-bit BGR) light gray (170 of 255),
/// not below 1: a night is filmed in little light, and shown to people who want to see the wall.
[[nodiscard]] double gain_to_light_gray(const cv::Mat& picture);

}  // namespace nightswing::tracker
