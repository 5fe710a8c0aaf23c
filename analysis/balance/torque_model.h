#pragma once

#include <span>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/mass_distribution.h"
#include "analysis/positions/swing_series.h"

/// The torque about the wire with which the source masses pull at the boom, per unit of G. A point
/// mass M at (X, Y, Z) pulls at a point mass m at (x, y, z) with
///   torque/G = M m (x Y - y X)/d^3,   d = their distance,
/// (moment of Newton's force about z), and bodies are summed over their elements.
namespace nightswing::analysis {

/// Torque over G [kg2/m] and its derivative with respect to the boom's rotation [kg2/(m rad)].
struct TorquePerG {
  double torque = 0;
  double slope = 0;
  bool operator==(const TorquePerG&) const = default;
};

[[nodiscard]] inline TorquePerG operator+(const TorquePerG& a, const TorquePerG& b) {
  return {a.torque + b.torque, a.slope + b.slope};
}

/// Torque of some masses on some others, summed over all pairs; the derivative is analytic.
/// boom       elements at rotation 0, axes as in apparatus.h
/// source     elements where they stand in the room
/// theta_rad  rotation of the boom; positive turns x towards y
[[nodiscard]] TorquePerG torque_per_g(std::span<const MassElement> boom,
                                      std::span<const MassElement> source,
                                      double theta_rad);

/// The torque of both source masses, split by what they pull at.
struct BoomTorque {
  TorquePerG near_pairs;  // each source mass on the test mass beside it
  TorquePerG far_pairs;   // each source mass on the other test mass, which weakens the near pull
  TorquePerG rod;         // both source masses on the rod

  [[nodiscard]] TorquePerG total() const { return near_pairs + far_pairs + rod; }
};

/// The torque at a rotation of the boom.
/// errors   relative below 1e-8 (spheres: rounding only), 1e-7 if the test masses are not spheres,
///          as long as the bodies are not within a tenth of their size of touching
/// time     about 10 us for spheres, 10 ms for other source masses with a rod, 30 ms for other
///          test masses; twice as long if the places of the sources are given one by one
/// throws   std::invalid_argument if there is no room between the bodies at rotation 0, or it is
///          not known where the sources stand (away, unless the apparatus says it)
[[nodiscard]] BoomTorque boom_torque(const Apparatus& apparatus, Side side, double theta_rad);

/// The torques on both sides, each at its own place of rest.
struct SideTorques {
  double turn = 1;   // turn_towards plus (source_places.h)
  BoomTorque plus;   // g_plus(turn theta)
  BoomTorque minus;  // g_minus(-turn theta)

  /// Half of their difference, counted as positive towards the side, and their mean slope:
  ///   torque(theta) = t (g_plus(t theta) - g_minus(-t theta))/2,
  ///   slope(theta)  = (g_plus'(t theta) + g_minus'(-t theta))/2.
  /// In the symmetric arrangement that is the torque on either side.
  [[nodiscard]] BoomTorque mean() const;
};

/// It takes four times as long where the arrangement is not the symmetric one.
[[nodiscard]] SideTorques side_torques(const Apparatus& apparatus, double theta_rad);

[[nodiscard]] inline BoomTorque mean_torque(const Apparatus& apparatus, double theta_rad) {
  return side_torques(apparatus, theta_rad).mean();
}

}  // namespace nightswing::analysis
