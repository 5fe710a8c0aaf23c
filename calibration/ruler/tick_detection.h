#pragma once

#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"
#include "calibration/ruler/tick_pattern.h"

/// Measures the ticks of a ruler, each as a straight line.
namespace nightswing::calibration {

/// One tick. Its line is given by the two points on it whose errors are independent and equal; for
/// evenly spread pixels they lie a share 1 / sqrt(3) of the half length to both sides of the
/// middle.
struct MeasuredTick {
  int index = 0;         ///< divisions from a longest tick; ticks that were not seen are left out
  int length_class = 0;  ///< 0 for the shortest
  PixelPoint near{0.0, 0.0};
  PixelPoint far{0.0, 0.0};  ///< farther from the common end of the ticks
  double u_px = 0.0;         ///< standard uncertainty of each of the two across the tick
};

/// Fits each tick that the pattern expects, in the stored pixels themselves (nothing resampled):
///   gray = g0 + g1 d + g2 l + g3 E + depth E C T(d - shift - tilt l),
/// d and l the pixel's place across and along the expected line, T a Gaussian of the ticks' width
/// plus those of the neighbours, E the blurred step at the edge of the ruler, C that at the end of
/// each tick: both steps run along the ruler, so on a ruler seen askew they cross the tick askew
/// and would tilt it if they were left out. Left out are ticks at the border of the picture, those
/// of less than 0.4 of the median depth (worn, glare, covered) and those farther than a third of a
/// division from where they should be.
/// u_px  from the scatter of the gray values about the fit, that tick's own or the median one,
///       whichever is larger.
[[nodiscard]] std::vector<MeasuredTick> measure_ticks(const cv::Mat& values,
                                                      const TickPattern& pattern);

}  // namespace nightswing::calibration
