#pragma once

#include "demo_video/camera_view.h"

namespace nightswing::demo {

/// Whether the mount lets the camera move at all.
[[nodiscard]] bool is_moving(const Mount& mount);

/// Whether the knock has come by then.
[[nodiscard]] bool is_bumped(const Mount& mount, double t_s);

/// How far the creep has moved the middle of the picture: creep_px (1 - e^(-t/T))/(1 - e^(-N/T)),
/// N the night and T = creep_time_share N.
[[nodiscard]] double creep_px_at(const NightSettings& settings, double t_s);

/// The camera with this much creep, before or after the knock.
[[nodiscard]] CameraView view_with(const NightSettings& settings, double creep_px, bool bumped);

/// The camera as it is turned at a moment of the night.
[[nodiscard]] CameraView view_at(const NightSettings& settings, double t_s);

}  // namespace nightswing::demo
