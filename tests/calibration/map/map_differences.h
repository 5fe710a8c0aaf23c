#pragma once

#include <Eigen/Core>

#include "calibration/map/wall_map.h"

namespace nightswing::test {

/// d(wall) / d(pixel) [mm/px] by central differences over 0.02 px: truncation and rounding both
/// below 1e-9.
inline Eigen::Matrix2d differences_of(const calibration::WallMap& map,
                                      calibration::PixelPoint pixel) {
  constexpr double kStep_px = 0.01;
  const auto column = [&](double dx_px, double dy_px) -> Eigen::Vector2d {
    const auto a = wall_from_pixel(map, {pixel.x_px - dx_px, pixel.y_px - dy_px});
    const auto b = wall_from_pixel(map, {pixel.x_px + dx_px, pixel.y_px + dy_px});
    return Eigen::Vector2d(b.x_mm - a.x_mm, b.y_mm - a.y_mm) / (2.0 * kStep_px);
  };
  Eigen::Matrix2d differences;
  differences << column(kStep_px, 0.0), column(0.0, kStep_px);
  return differences;
}

}  // namespace nightswing::test
