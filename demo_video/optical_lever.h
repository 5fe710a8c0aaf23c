#pragma once

#include "demo_video/night_settings.h"

namespace nightswing::demo {

/// A place on the wall in real millimetres: x right along the ruler, y up.
struct WallPlace {
  double x_mm;
  double y_mm;
};

/// How far along its path the spot stands from the foot of the perpendicular [mm]:
///   s = +-1000 D tan(alpha + 2 theta)
/// because the beam turns by twice the rotation of the mirror (law of reflection).
[[nodiscard]] double path_mm(const OpticalLever& lever, double theta_rad);

/// The same as a place on the wall: the path is straight and tilted against the ruler.
[[nodiscard]] WallPlace spot_place(const OpticalLever& lever, double theta_rad);

/// The small rotation that moves the spot by `shift_mm` along its path, near theta = 0.
[[nodiscard]] double small_rotation_rad(const OpticalLever& lever, double shift_mm);

}  // namespace nightswing::demo
