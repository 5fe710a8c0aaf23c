#pragma once

#include <opencv2/core.hpp>

#include "calibration/map/wall_map.h"

namespace nightswing::tracker {

/// The picture with what the calibration found drawn into it, to be looked at: every reference
/// point (the markers as squares, a ruler's ticks as strokes), what the map leaves over at each of
/// them as an arrow ten times enlarged, and the millimetre axis by the map, numbered.
/// picture  the one that was calibrated, 8-bit BGR or gray; it is not changed.
[[nodiscard]] cv::Mat calibration_picture(const cv::Mat& picture, const calibration::WallMap& map);

}  // namespace nightswing::tracker
