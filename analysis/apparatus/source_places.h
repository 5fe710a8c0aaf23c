#pragma once

#include <array>

#include "analysis/apparatus/apparatus.h"
#include "analysis/apparatus/body_gap.h"
#include "analysis/positions/swing_series.h"

/// Where the source masses stand beside the boom, whether a separation says so or coordinates.
namespace nightswing::analysis {

/// Whether it is known where the sources stand on a side: on plus and minus it is, away if it was
/// given.
[[nodiscard]] bool has_places(const Apparatus& apparatus, Side side);

/// What was given of a side; of away only if it was (has_places).
[[nodiscard]] const std::array<SourcePlace, 2>& given_places(const SourceSides& sides, Side side);

/// Both centres on a side; the first of the symmetric arrangement stands beside the test mass at
/// x = arm.
/// throws  std::invalid_argument unless has_places
[[nodiscard]] std::array<Place, 2> source_places(const Apparatus& apparatus, Side side);

/// The test mass beside a source mass that stands there: its x at rotation 0 [m].
[[nodiscard]] double near_test_x_m(const Apparatus& apparatus, const Place& source);

/// x Y/d^3 of that pair, taken as points: its torque at rotation 0 per G and masses [1/m].
[[nodiscard]] double near_pull(const Apparatus& apparatus, const Place& source);

/// From centre to centre of the four near pairs, boom midway, their mean [m]: the separation, if
/// that was given.
[[nodiscard]] double mean_separation_m(const Apparatus& apparatus);

/// +1 if the boom turns from x towards y when the sources are on that side (not away), else -1; by
/// the near pairs, taken as points. Its rotation is then that times theta, and the opposite on the
/// other side.
[[nodiscard]] double turn_towards(const Apparatus& apparatus, Side side);

/// The room between a source mass at a place, as seen from the boom, and the test mass beside it,
/// or the rod [m]; 0 if they touch. Without a rod there is room without end.
[[nodiscard]] double room_beside_test_m(const Apparatus& apparatus, const Place& source);
[[nodiscard]] double room_beside_rod_m(const Apparatus& apparatus, const Place& source);

/// The same rooms between the shapes by which the masses pull: spheres pull as points, so that
/// their radius does not matter. Without room there is no torque to work out.
struct PullingRoom {
  double beside_test_m;
  double beside_rod_m;
};
[[nodiscard]] PullingRoom pulling_room(const Apparatus& apparatus, const Place& source);

/// The least room between a source mass and a test mass [m] on both sides, with the boom turned by
/// theta_rad towards the side. Bodies that are not round are taken to stay parallel to the boom.
[[nodiscard]] double least_room_m(const Apparatus& apparatus, double theta_rad);

/// The rotation [rad] from midway, towards either side, at which a test mass first touches a source
/// mass, or stands beside one that it passes by (above it, or at another distance from the wire).
[[nodiscard]] double contact_rad(const Apparatus& apparatus);

}  // namespace nightswing::analysis
