#pragma once

#include <optional>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"

/// Where rows of parallel strokes run in a picture: the places where a ruler may be.
namespace nightswing::calibration {

/// Two pixels along the graduated edge of a ruler, set by hand: good to some 20 px.
struct RulerHint {
  PixelPoint from;
  PixelPoint to;
};

/// A row of strokes in its own coordinates [px]: s along a line, t across it (a quarter turn from x
/// to y), s = 0 at the origin. The strokes run in the direction
///   ds/dt = lean + lean_per_px s,
/// which is exact for strokes that are parallel on the wall: in the picture they meet in one point
/// (Hartley, Zisserman: Multiple View Geometry, 2nd ed. 2004, section 2.4). What all strokes have
/// in common, their beginning say, lies at a constant t above
///   edge = edge_per_px s + edge_per_px2 s^2,
/// for the line may lie askew and a lens bends what is straight.
struct StrokeBand {
  cv::Point2d origin{0.0, 0.0};
  cv::Point2d along{1.0, 0.0};  ///< unit vector
  double lean = 0.0;
  double lean_per_px = 0.0;
  double edge_per_px = 0.0;
  double edge_per_px2 = 0.0;
  double from_px = 0.0;  ///< s where the strokes begin and end, roughly
  double to_px = 0.0;
};

/// The pixel on the stroke that crosses the line at s, t beyond the edge.
[[nodiscard]] cv::Point2d pixel_at(const StrokeBand& band, double s_px, double t_px);

/// The rows of strokes in a picture, the longest first, at most `most` of them.
///   Within a window of some ticks the gradients of a row of strokes share one axis but have both
///   signs, those of an edge one sign only, those of print and noise all axes. Places where the
///   structure tensor says so vote for the straight lines through them that cross the strokes
///   (Hough transform).
/// values  CV_32F.    hint  only rows along it, between its ends, are looked for.
[[nodiscard]] std::vector<StrokeBand> find_stroke_bands(const cv::Mat& values,
                                                        const std::optional<RulerHint>& hint,
                                                        int most);

}  // namespace nightswing::calibration
