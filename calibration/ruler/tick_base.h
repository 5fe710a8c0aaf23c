#pragma once

#include <opencv2/core.hpp>

#include "calibration/ruler/tick_pattern.h"

namespace nightswing::calibration {

/// The pattern with the edge of its grid laid exactly along the common end of the ticks: where the
/// depth of the strokes, a dozen ticks together, falls to half. Without it a row of short ticks is
/// fitted partly on the wall beside the ruler, and the tick lines come out tilted.
[[nodiscard]] TickPattern with_exact_base(const cv::Mat& values, const TickPattern& pattern);

}  // namespace nightswing::calibration
