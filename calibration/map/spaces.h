#pragma once

/// The two planes that the calibration joins. They are distinct types so that a pixel can never be
/// taken for a millimetre; only `wall_map.h` leads from one to the other.
namespace nightswing::calibration {

/// A place in the stored picture [px]: the centre of the top left pixel is (0, 0), x to the right,
/// y downwards.
struct PixelPoint {
  double x_px;
  double y_px;
  bool operator==(const PixelPoint&) const = default;
};

/// A place on the wall [mm]: x along the ruler towards growing numbers, y at right angles to it,
/// upwards when the scale hangs upright. Seen from the front, x right and y up.
struct WallPoint {
  double x_mm;
  double y_mm;
  bool operator==(const WallPoint&) const = default;
};

}  // namespace nightswing::calibration
