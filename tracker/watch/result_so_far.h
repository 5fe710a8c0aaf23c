#pragma once

#include <optional>
#include <string>

#include "analysis/night/running_estimate.h"
#include "analysis/positions/swing_series.h"
#include "analysis/quantities/measured.h"

namespace nightswing::tracker {

/// What the night has shown until now. Lengths only if the wall is calibrated; where something is
/// not known yet it is left out, and the sentence says why. All u are those of the swing alone:
/// what the map of the wall leaves in doubt comes with the analysis.
struct ResultSoFar {
  double at_s = 0.0;                     ///< of the last position, since the run's start
  std::optional<analysis::Side> side{};  ///< where the sources are, from a first mark or move on
  std::optional<analysis::Measured> period_s{};
  std::optional<analysis::Measured> equilibrium_mm{};  ///< of the present segment
  std::optional<analysis::Measured> shift_mm{};        ///< plus minus minus
  std::optional<double> shift_relative_u{};            ///< u over the shift's size; needs no mm
  double target_relative = 0.01;                       ///< the relative u that is wanted
  /// Until then with the sources left where they are; 0 once it is reached.
  std::optional<double> hours_to_target{};
  std::string sentence{};  ///< of the above, for a person; empty before there is a track
};

/// What lengths of a running estimate are in.
enum class LengthsIn { kMillimetres, kPixels };

/// The estimate in words and figures. Lengths in pixels are left out, their ratios are not.
[[nodiscard]] ResultSoFar result_so_far(const analysis::RunningResult& running,
                                        LengthsIn lengths,
                                        double target_relative);

}  // namespace nightswing::tracker
