#pragma once

#include <cmath>

#include "calibration/ruler/ruler_reader.h"
#include "tests/calibration/ruler/rendered_ruler.h"
#include "tests/calibration/scale/rendered_scale.h"

/// The ruler and the camera that the tests of the reader have in common.
namespace nightswing::test {

/// Of 300 mm, in millimetres.
inline RulerLook usual_ruler() {
  return millimetre_ruler(3.5, 5.0, 7.0);
}

/// Looks at 120 mm on the ruler's edge, from the side and a little from above.
inline CameraPose oblique_pose(double distance_mm) {
  return {.yaw_rad = 0.3,
          .pitch_rad = -0.2,
          .roll_rad = 0.05,
          .distance_mm = distance_mm,
          .aim = {120.0, 0.0}};
}

/// A camera of 1280 x 720 px at that pose, without distortion.
inline RulerCamera view_of(const CameraPose& pose) {
  RulerCamera camera;
  camera.pixel_from_wall = pixel_from_wall_matrix(pose, camera.size);
  return camera;
}

/// Relative error of the displacement 60 -> 180 mm on the wall, y_mm above the ruler's edge.
inline double scale_error(const calibration::RulerReading& reading,
                          const RulerCamera& camera,
                          double y_mm) {
  const double from_mm = wall_from_pixel(reading.map, project(camera, {60.0, y_mm})).x_mm;
  const double to_mm = wall_from_pixel(reading.map, project(camera, {180.0, y_mm})).x_mm;
  return std::abs(to_mm - from_mm) / 120.0 - 1.0;
}

}  // namespace nightswing::test
