#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "analysis/positions/spot_path.h"
#include "analysis/positions/swing_series.h"

namespace nightswing::test {

/// A night of a balance whose source masses, spheres, stand anywhere, by integration of its
/// equation of motion with Newton's law in full: nothing in it knows of a mean side, of small
/// swings or of the analysis. Sizes of the reference balance (reference_balance.h).
struct PulledNight {
  using Places = std::array<std::array<double, 3>, 2>;  ///< x, y, z of both source masses [m]

  double big_g = 6.67430e-11;
  double source_kg = 4.0;
  Places plus{};
  Places minus{};
  std::optional<Places> away{};  ///< without it out of reach
  double wire_rest_rad = 0.0;
  double free_period_s = 540.0;
  double damping_per_s = 1.0 / 3600.0;
  double start_rad = 2e-3;  ///< from the wire's rest; speed 0
  std::vector<analysis::SideChange> sides;
  double end_s = 0.0;
  double every_s = 5.0;
  double wall_m = 4.0;
  double foot_mm = 200.0;
  bool reversed = false;  ///< the scale is taped the other way round
  double white_mm = 0.02;
  std::uint32_t seed = 1;
};

/// Where the wire must be at ease for the boom to rest as far from rotation 0 on either side.
[[nodiscard]] double wire_rest_for_midway(const PulledNight& night);

[[nodiscard]] std::vector<analysis::WallSample> watch_pulled(const PulledNight& night);

}  // namespace nightswing::test
