#pragma once

#include <vector>

#include "demo_video/camera_view.h"
#include "demo_video/swing_simulator.h"

namespace nightswing::demo {

/// A stretch of the night with the sources on one side, from the begin of the move that brought
/// them there to the begin of the next. The equilibrium is that at the middle, drift included.
struct SegmentTruth {
  Side side;
  double start_s;
  double end_s;
  double mid_s;
  double equilibrium_rad;
  double equilibrium_path_mm;  ///< along the spot's path, from the foot of the perpendicular
  WallPlace equilibrium;
  double period_s;         ///< undamped, beside the sources
  double damped_period_s;  ///< as the spot swings
};

/// Where the spot is in one frame; without camera noise.
struct TrackPoint {
  int frame;
  SwingState state;
  WallPlace place;
  PixelPlace pixel;
};

struct NightTruth {
  double inertia_kg_m2;
  double wire_constant_n_m_per_rad;
  double damping_n_m_s;
  double torque_plus_per_g_kg2_per_m;  ///< at theta = 0
  double theta_plus_rad;               ///< equilibria with the wire's angle of rest at 0
  double theta_minus_rad;
  double shift_mm;         ///< along the path, between those two
  double period_beside_s;  ///< at the equilibrium of kPlus, undamped
  std::vector<SegmentTruth> segments;
  std::vector<TrackPoint> track;
};

/// Plays the night through. Throws SettingsError if the boom cannot swing as set.
[[nodiscard]] NightTruth play_night(const NightSettings& settings);

}  // namespace nightswing::demo
