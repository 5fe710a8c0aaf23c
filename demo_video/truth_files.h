#pragma once

#include <string>

#include "demo_video/apparatus_reading.h"
#include "demo_video/night_truth.h"

namespace nightswing::demo {

/// Everything that is true of the night, as JSON: settings, derived physics, segments, moves, and
/// the map from wall to pixel; `camera_motion` only where the camera moves. All numbers with full
/// precision; keys end in their unit.
[[nodiscard]] std::string truth_json(const NightSettings& settings, const NightTruth& truth);

/// One line a frame: frame,t_s,theta_rad,x_mm,y_mm,x_px,y_px (real millimetres).
[[nodiscard]] std::string truth_track_csv(const NightTruth& truth);

/// Writes a whole file; throws SettingsError if that fails.
void write_text(const std::string& path, const std::string& text);

}  // namespace nightswing::demo
