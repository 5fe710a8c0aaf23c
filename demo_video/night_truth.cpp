#include "demo_video/night_truth.h"

#include <cmath>
#include <numbers>

#include "demo_video/camera_mount.h"
#include "demo_video/optical_lever.h"

namespace nightswing::demo {
namespace {

double damped_period_s(const Balance& balance, double period_s) {
  const double rate = 1 / balance.amplitude_decay_time_s;
  const double frequency = 2 * std::numbers::pi / period_s;
  return 2 * std::numbers::pi / std::sqrt(frequency * frequency - rate * rate);
}

std::vector<SegmentTruth> segments_of(const NightSettings& settings,
                                      const BalancePhysics& physics) {
  std::vector<SegmentTruth> segments;
  const auto& sides = settings.sides;
  for (std::size_t i = 0; i < sides.size(); ++i) {
    SegmentTruth segment{};
    segment.side = sides[i].side;
    segment.start_s = sides[i].start_s;
    segment.end_s = i + 1 < sides.size() ? sides[i + 1].start_s : settings.duration_s;
    segment.mid_s = (segment.start_s + segment.end_s) / 2;
    const SourcePose pose = source_pose(settings.balance, segment.side);
    segment.equilibrium_rad =
        physics.equilibrium_rad(pose, wire_angle_rad(settings, segment.mid_s));
    segment.equilibrium_path_mm = path_mm(settings.lever, segment.equilibrium_rad);
    segment.equilibrium = spot_place(settings.lever, segment.equilibrium_rad);
    segment.period_s = physics.period_s(segment.equilibrium_rad, pose);
    segment.damped_period_s = damped_period_s(settings.balance, segment.period_s);
    segments.push_back(segment);
  }
  return segments;
}

}  // namespace

NightTruth play_night(const NightSettings& settings) {
  const BalancePhysics physics(settings.balance);
  const SourcePose plus = source_pose(settings.balance, Side::kPlus);
  const SourcePose minus = source_pose(settings.balance, Side::kMinus);
  NightTruth truth{};
  truth.inertia_kg_m2 = physics.inertia_kg_m2();
  truth.wire_constant_n_m_per_rad = physics.wire_constant_n_m_per_rad();
  truth.damping_n_m_s = physics.damping_n_m_s();
  truth.torque_plus_per_g_kg2_per_m = physics.torque_per_g(0, plus);
  truth.theta_plus_rad = physics.equilibrium_rad(plus, 0);
  truth.theta_minus_rad = physics.equilibrium_rad(minus, 0);
  truth.shift_mm = std::abs(path_mm(settings.lever, truth.theta_plus_rad) -
                            path_mm(settings.lever, truth.theta_minus_rad));
  truth.period_beside_s = physics.period_s(truth.theta_plus_rad, plus);
  truth.segments = segments_of(settings, physics);
  int frame = 0;
  for (const SwingState& state : simulate_swing(settings)) {
    const WallPlace place = spot_place(settings.lever, state.theta_rad);
    const CameraView view = view_at(settings, state.t_s);
    truth.track.push_back({frame++, state, place, view.pixel_from_wall(place)});
  }
  return truth;
}

}  // namespace nightswing::demo
