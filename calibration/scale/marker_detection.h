#pragma once

#include <array>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"

/// Finds the markers of the printed scale roughly, before marker_refinement.h places them.
namespace nightswing::calibration {

struct Marker {
  int id;
  std::array<PixelPoint, 4>
      corners;  ///< top left, top right, bottom right, bottom left of the print
};

/// The markers in the picture, by id, within about 2 px. Where noise of a dim picture breaks the
/// outlines, a smoothed copy shows more; its markers are added.
/// gray  CV_8UC1.
[[nodiscard]] std::vector<Marker> detect_markers(const cv::Mat& gray);

}  // namespace nightswing::calibration
