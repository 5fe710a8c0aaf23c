#pragma once

#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/wall_map.h"

/// Finds the printed scale in a picture.
namespace nightswing::calibration {

enum class ScaleStatus {
  kRead,
  kNoScale,        ///< no marker of the scale is in the picture
  kTooFewMarkers,  ///< a single marker, which nothing could check
  kMirrored,       ///< the scale is there, but left and right are exchanged
  kTwoScales,      ///< markers occur twice
  kInconsistent,   ///< most markers do not fit one flat wall, or all scatter by 0.35 mm about it
};

/// points are the corners of the markers' fields of bits (one cell inside the outer corners; why,
/// says reference_points in the .cpp), each with its marker's id, ready for fit_plane_map; empty
/// unless status == kRead. message is one sentence: what was read, or why not and what to do.
struct ScaleReading {
  ScaleStatus status = ScaleStatus::kNoScale;
  std::vector<ReferencePoint> points;
  std::vector<int> ids_seen;      ///< every marker detected, ascending; twice if seen twice
  std::vector<int> ids_rejected;  ///< those detected but not used
  std::string message;
};

/// Reads the printed scale (printed_scale.h): detects its markers, locates each by its four
/// edges (marker_refinement.h) and leaves out what does not lie in one plane with the rest.
///   A marker is left out if its edges cannot be fitted, if a corner of it lies off the wall of
///   the majority, seen through a usual lens, by more than a tenth of a marker's side = 2.4 mm (an
///   id misread, a sheet stuck elsewhere), or if a corner lies off the common map by more than 5
///   robust standard deviations of all corners (a finger over an edge).
/// picture  CV_8UC1 gray or CV_8UC3 BGR, as stored; the mean of several frames lowers its noise.
/// returns  the points and what was seen. In rendered views all markers are read from 22 px a side
///          on, some from 15 px.
/// throws   std::invalid_argument if the picture is of another type (an empty one holds no scale).
/// not here ordinary rulers; the shift of sheets against each other is left to fit_plane_map, which
///          finds the sheet of each point in it.
[[nodiscard]] ScaleReading read_printed_scale(const cv::Mat& picture);

}  // namespace nightswing::calibration
