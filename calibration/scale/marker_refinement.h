#pragma once

#include <array>
#include <optional>

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"

/// Subpixel places on one black square marker on white paper.
namespace nightswing::calibration {

/// Side of a marker's field of bits over that of the marker (4 of 6 cells).
inline constexpr double kFieldShare = 2.0 / 3.0;

struct RefinedMarker {
  std::array<PixelPoint, 4> corners;  ///< outer corners, in the detector's order
  /// Standard uncertainty [px] of each coordinate of the corners of the field of bits, when these
  /// are placed by the outer corners as scale_reader.cpp does.
  std::array<double, 4> field_u_px;
};

/// Locates a marker by its four outer edges.
///   Each edge is a straight step between two gray levels, blurred by a Gaussian,
///     I = (1 + shading * along) (dark + (bright - dark) <Phi(across / blur)>),
///   across counted from the line, < > the mean over the width of a pixel; its six unknowns are
///   fitted by least squares to the pixels themselves in a band along the edge; the ends are left
///   out, where the corner rounds it off. Pixels far off the model (a finger, the spot) are
///   dropped. The corners are the intersections of the lines.
/// The model is symmetric about the edge, so that blur moves no edge; a camera's tone curve or
/// spreading ink moves all four outwards or inwards alike, which leaves the distance between
/// markers as it is.
/// gray     CV_32F, one channel.
/// corners  within about 2 px, in the detector's order (clockwise as seen in the picture).
/// sags_px  how far each edge, from its corner to the next, bulges outwards in its middle, by which
///          the lens bends it; a parabola. Fitted as straight lines, the edges of a marker of 60 px
///          near the border of a picture with 10 % distortion would lie 0.1 px off.
/// returns  none if an edge is shorter than 8 px, reaches out of the picture, has no contrast or
///          cannot be fitted, or if an uncertainty exceeds 0.5 px. field_u_px follows from the
///          scatter of the pixels about the model, with a floor of 0.003 px, and from how far
///          blur mixes in what lies behind the edges.
/// throws   std::invalid_argument for a picture of another type.
[[nodiscard]] std::optional<RefinedMarker> refine_marker(const cv::Mat& gray,
                                                         const std::array<PixelPoint, 4>& corners,
                                                         const std::array<double, 4>& sags_px = {});

}  // namespace nightswing::calibration
