#pragma once

#include <Eigen/Core>

#include "calibration/map/spaces.h"

/// How the picture of a flat wall moves when the camera does.
namespace nightswing::calibration {

/// From the reference picture to a later one. With r a place of the reference from the picture's
/// centre c, and R the turn by rotation_rad (from x towards y, clockwise as seen):
///
///   place now = c + (zoom R r + shift) / (1 + keystone . r)
///
/// Shift, rotation and zoom are the similarity. The keystone goes with them because a camera that
/// is knocked turns about its lens: a pan by the angle a moves the centre by f a, but the border of
/// the picture by f a (1 + x^2/f^2), f the focal length in pixels. To first order in the angle that
/// is a keystone of -a/f (expansion of the pinhole projection x = f tan(angle)).
struct CameraMotion {
  double shift_x_px = 0.0;
  double shift_y_px = 0.0;
  double rotation_rad = 0.0;
  double zoom = 1.0;
  double keystone_x_per_px = 0.0;
  double keystone_y_per_px = 0.0;
  bool operator==(const CameraMotion&) const = default;
};

/// Where a place of the reference is in the moved picture. `centre` is the picture's.
[[nodiscard]] PixelPoint moved_from_reference(const CameraMotion& motion,
                                              PixelPoint centre,
                                              PixelPoint reference);

/// The inverse: where the place was in the reference.
/// throws std::invalid_argument for a motion that cannot be undone (zoom 0).
[[nodiscard]] PixelPoint reference_from_moved(const CameraMotion& motion,
                                              PixelPoint centre,
                                              PixelPoint moved);

/// How the surroundings of a place of the reference are turned and stretched in the moved picture:
/// derivative of moved_from_reference, columns for x and y of the reference.
[[nodiscard]] Eigen::Matrix2d local_turn(const CameraMotion& motion,
                                         PixelPoint centre,
                                         PixelPoint reference);

}  // namespace nightswing::calibration
