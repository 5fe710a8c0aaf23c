#pragma once

#include "calibration/map/wall_map.h"

namespace nightswing::test {

/// Size of the pictures that the maps and motions of the tests belong to [px].
inline constexpr calibration::FrameSize kFrame{.width_px = 1280, .height_px = 720};

}  // namespace nightswing::test
