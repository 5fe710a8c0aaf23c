#pragma once

#include <Eigen/Core>

#include "calibration/map/wall_map.h"

/// What it does to a distance that the scale, or a part of it, stands off the wall by so little
/// that no picture shows it.
namespace nightswing::calibration {

/// How far a sheet stands off the plane of the first, as a standard deviation: tape, a sheet's edge
/// over another's (paper is 0.1 mm thick, from memory), waves; common practice, no source.
inline constexpr double kSheetHeight_mm = 0.2;

/// How far the ticks of a ruler stand off the wall, root mean square: 0.2 mm of a tape measure, 0.5
/// to 1 mm of a steel rule, up to 3 mm of wood; common practice, no source.
inline constexpr double kRulerHeight_mm = 1.0;

/// d(distance on the wall between two pixels [mm]) / d(height [mm] over the first sheet of each
/// sheet of map.pages); 0 for a picture of unstated size.
///
/// What stands off by z is seen displaced by z / D times its distance from the foot of the camera,
/// which is D from the wall (similar triangles). Where the camera is follows from the map with the
/// focal length of usual cameras, 0.9 widths of the picture: 50 to 70 degrees across are 1.1 to 0.7
/// (common practice, no source), which is good enough for a doubt.
///
/// A sheet that slants away from where it joins the other needs no number of its own: that passes
/// for perspective, to which the map adapts. Of heights of +0.3 mm at the joint and -0.3 mm at the
/// far end the maps of rendered views were as wrong as of +0.3 mm all over, or less.
[[nodiscard]] Eigen::VectorXd height_gradient(const WallMap& map, PixelPoint from, PixelPoint to);

/// What kRulerHeight_mm leaves in doubt of all distances on the wall, relative: that over D, which
/// is the focal length above times the millimetres of a pixel; a ruler looks larger than the wall
/// behind it. 0 for a printed scale and for a picture of unstated size.
[[nodiscard]] double ruler_height_relative(const WallMap& map, PixelPoint pixel);

}  // namespace nightswing::calibration
