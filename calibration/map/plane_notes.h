#pragma once

#include <optional>
#include <string>

#include "calibration/map/wall_map.h"

/// What a person should know of a plane map, in words.
namespace nightswing::calibration {

/// The note of the map (wall_map.h): empty if nothing is worth a word.
///   off_wall_mm  how far markers lie off the fitted wall
[[nodiscard]] std::string note_of(const WallMap& map, double off_wall_mm);

/// Why no map of the scale should be made: two of its sheets seem to differ in size more than any
/// two of one print. None if they do not.
[[nodiscard]] std::optional<std::string> fault_of_sheets(const WallMap& map);

/// Why no usual camera sees the wall so, where only four points are given; none if one may.
[[nodiscard]] std::optional<std::string> fault_of_four_points(const WallMap& map);

}  // namespace nightswing::calibration
