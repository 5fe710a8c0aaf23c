#pragma once

#include <cstddef>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/wall_map.h"
#include "calibration/scale/marker_detection.h"
#include "calibration/scale/marker_refinement.h"

/// Which markers belong to one flat scale, and where its sheets begin: the inside of the scale
/// reader.
namespace nightswing::calibration {

/// With one alone nothing could check the map.
inline constexpr std::size_t kLeastMarkers = 2;

struct PlacedMarker {
  int id;
  RefinedMarker refined;
};

/// The picture, and how the columns of the scale are spread over sheets.
struct MarkerLayout {
  FrameSize frame;
  int columns_per_page = 6;
};

/// The markers whose edges could be fitted as straight lines.
[[nodiscard]] std::vector<PlacedMarker> place_markers(const cv::Mat& values,
                                                      const std::vector<Marker>& markers);

/// The same with the edges bent as the map says; a marker that is lost by it is left out.
[[nodiscard]] std::vector<PlacedMarker> place_again(const cv::Mat& values,
                                                    const std::vector<PlacedMarker>& markers,
                                                    const WallMap& map,
                                                    const MarkerLayout& layout);

/// The outer corners as reference points, four a marker.
[[nodiscard]] std::vector<ReferencePoint> outer_corners(const std::vector<PlacedMarker>& markers,
                                                        const MarkerLayout& layout);

/// Leaves out the markers that lie elsewhere than the largest set that agrees says. Lenses of usual
/// distortions are tried, so that no marker falls out for being near the border of the picture.
void leave_out_misplaced(std::vector<PlacedMarker>& markers, FrameSize frame);

/// Leaves out the marker with the farthest corner as long as that corner does not scatter as the
/// rest; returns the map of those that stay, by their outer corners.
[[nodiscard]] MapFit leave_out_outlying(std::vector<PlacedMarker>& markers,
                                        const MarkerLayout& layout);

/// How many columns a sheet of this scale has: 6 (landscape) unless joints after every 4 (portrait)
/// explain the markers clearly better. Nothing on the paper says so.
[[nodiscard]] int columns_per_page(const std::vector<PlacedMarker>& markers, FrameSize frame);

}  // namespace nightswing::calibration
