#pragma once

#include <vector>

#include "demo_video/night_settings.h"

/// The mechanics of the balance by plain sums over points. A homogeneous sphere attracts, and is
/// attracted, exactly like a point at its centre (Newton, Principia, book I, propositions 71 and
/// 75), so only the rod needs many points.
namespace nightswing::demo {

struct PointMass {
  double mass_kg;
  double x_m;
  double y_m;
  double z_m;
};

/// Where the pair of sources stands: one at this azimuth around the wire, the other opposite.
/// `presence` is 1 beside the boom and 0 out of reach.
struct SourcePose {
  double azimuth_rad;
  double presence;
};

[[nodiscard]] SourcePose source_pose(const Balance& balance, Side side);

/// Between two poses, `share` 0 to 1 of the time of the move. The sources go round on their circle
/// crosswise to the boom, where they are clear of the test masses, beginning and ending smoothly
/// (quintic, speed and acceleration zero at both ends).
[[nodiscard]] SourcePose pose_between(const SourcePose& from, const SourcePose& to, double share);

class BalancePhysics {
 public:
  explicit BalancePhysics(const Balance& balance);

  /// Both test spheres with their own 2/5 m r^2, the round rod m l^2/12 + m r^2/4, and the mirror.
  [[nodiscard]] double inertia_kg_m2() const { return inertia_kg_m2_; }

  /// Torsion constant of the wire, I (2 pi / free period)^2.
  [[nodiscard]] double wire_constant_n_m_per_rad() const { return wire_constant_n_m_per_rad_; }

  /// c of c theta'; the amplitude falls as exp(-t c / 2I).
  [[nodiscard]] double damping_n_m_s() const { return damping_n_m_s_; }

  /// Gravitational torque about the wire divided by G [kg^2/m], all pairs of source and boom.
  [[nodiscard]] double torque_per_g(double theta_rad, const SourcePose& pose) const;

  /// Its derivative with respect to theta [kg^2/m/rad], summed in closed form.
  [[nodiscard]] double torque_gradient_per_g(double theta_rad, const SourcePose& pose) const;

  /// Where the wire, relaxed at `wire_angle_rad`, balances gravity. Throws SettingsError if the
  /// sources pull the boom in.
  [[nodiscard]] double equilibrium_rad(const SourcePose& pose, double wire_angle_rad) const;

  /// Undamped period of small swings around an angle of rest [s].
  [[nodiscard]] double period_s(double equilibrium_rad, const SourcePose& pose) const;

  [[nodiscard]] const Balance& balance() const { return balance_; }

 private:
  Balance balance_;
  std::vector<PointMass> boom_;
  double inertia_kg_m2_;
  double wire_constant_n_m_per_rad_;
  double damping_n_m_s_;
};

}  // namespace nightswing::demo
