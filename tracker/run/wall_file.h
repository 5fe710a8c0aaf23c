#pragma once

#include <filesystem>

#include "calibration/map/wall_map.h"

namespace nightswing::tracker {

/// Writes the map from pixels to millimetres to wall.yaml, all digits, so that reading it back
/// gives the same map. throws InputError if the disk refuses.
void write_wall_map(const std::filesystem::path& path, const calibration::WallMap& map);

/// throws InputError if the file is missing (the text says how to make it), a key is unknown,
/// missing or of the wrong kind, or the numbers are no map.
[[nodiscard]] calibration::WallMap read_wall_map(const std::filesystem::path& path);

}  // namespace nightswing::tracker
