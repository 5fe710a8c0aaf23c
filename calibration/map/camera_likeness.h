#pragma once

#include <Eigen/Core>

#include "calibration/map/wall_map.h"

/// Whether a plane map can be what a usual camera sees. Four points fit any of the eight numbers of
/// a homography, but a camera with square pixels whose axis meets the middle of the picture has
/// only seven (its place, its direction, its focal length): the eighth tells of a mistyped
/// coordinate.
namespace nightswing::calibration {

struct CameraLikeness {
  /// How much of a stretch [relative] or skew [rad] of the wall's millimetres is left with the
  /// focal length that leaves least: 0 for such a camera, 0.1 if squares would have to be 11 by 10.
  double strain = 0.0;
  double u_strain = 0.0;  ///< standard uncertainty, by the covariance of the map
};

/// By the homography H from millimetres to straightened pixels about the middle of the picture and
/// K = diag(f, f, 1): the first two columns of K^-1 H are the wall's axes seen by the camera, of
/// one length and at right angles. Focal lengths from 0.3 to 30 widths of the picture are tried.
///   map  of kind kPlane, with the size of its picture.
/// throws std::invalid_argument for another.
/// source  Z. Zhang, IEEE Trans. Pattern Anal. Mach. Intell. 22 (2000) 1330, equations (3), (4)
[[nodiscard]] CameraLikeness camera_likeness(const WallMap& map);

/// H above: takes (x_mm, y_mm, 1) to (x_px, y_px, 1) times a factor, pixels straightened and
/// counted from the middle of the picture. map as above.
[[nodiscard]] Eigen::Matrix3d centred_pixel_from_mm(const WallMap& map);

}  // namespace nightswing::calibration
