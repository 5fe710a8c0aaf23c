#pragma once

#include <optional>

#include <opencv2/core.hpp>

#include "tracker/aim/aim_reading.h"

namespace nightswing::tracker {

/// Draws a ring round the spot, and arrows to where its room ends. `picture` is 8-bit BGR.
void draw_spot(cv::Mat& picture, const SpotMeasurement& spot, const std::optional<SwingRoom>& room);

/// The picture with what is seen in it drawn in: the spot, how far it may swing, and below the
/// picture the values and the advice in words. 8-bit BGR, higher than the picture.
[[nodiscard]] cv::Mat aim_picture(const cv::Mat& picture, const AimReading& reading);

}  // namespace nightswing::tracker
