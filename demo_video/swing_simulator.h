#pragma once

#include <vector>

#include "demo_video/balance_physics.h"

namespace nightswing::demo {

/// What the boom does when a frame is taken.
struct SwingState {
  double t_s;
  double theta_rad;
  double rate_rad_per_s;
};

/// Angle at which the wire is relaxed: a linear drift and an optional exponential creep, zero at
/// t = 0 [rad].
[[nodiscard]] double wire_angle_rad(const NightSettings& settings, double t_s);

/// Where the sources are at a time, including the moves.
[[nodiscard]] SourcePose pose_at(const NightSettings& settings, double t_s);

/// Integrates
///   I theta'' = -kappa (theta - wire angle(t)) - c theta' + G torque(theta, pose(t)) + noise
/// by the classical Runge-Kutta step of fourth order with a fixed step, the largest not above
/// settings.swing.step_s that divides the time between frames. The kick of a move is given at the
/// first step that begins at or after the move; the noise is constant during a step.
/// returns one state for each frame, the first at t = 0. Throws SettingsError if the boom is pulled
/// into a source.
[[nodiscard]] std::vector<SwingState> simulate_swing(const NightSettings& settings);

}  // namespace nightswing::demo
