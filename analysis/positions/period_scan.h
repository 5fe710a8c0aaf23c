#pragma once

#include <optional>
#include <span>

#include "analysis/positions/swing_series.h"

namespace nightswing::analysis {

/// Starting values of the swing, from the data alone.
struct SwingStart {
  double period_s;
  double damping_per_s;
  /// Share of the scatter about a straight line that the swing explains, 0..1; median of the
  /// chunks.
  double explained;
  /// Standard deviation of what the swing does not explain; median of the chunks.
  double residual_mm;
};

/// Scans trial periods (1 % steps) and damping values. For each, the night is cut into chunks of
/// three periods, or 36 median steps from sample to sample if that is longer, and every chunk gets
/// its own rest position, slope, amplitude and phase by linear least squares and its own noise; so
/// neither a move of the sources nor a kick spoils the scan. The trial wins that has most over
/// straight lines in the same chunks by the Bayesian information criterion.
///   samples  time-ordered
///   moves    when the sources are known to have moved, time-ordered: no chunk goes on across them.
///            Moves that come every period or two would otherwise look like a slow wave themselves.
///   returns  nothing if there are too few samples (42 are enough, and 36 on each side of known
///            moves), if straight lines without a swing have as good a criterion, or if the swing
///            explains less than half of the scatter everywhere
///   source   linear least squares with a scanned frequency: Lomb, Astrophys. Space Sci. 39, 447
///            (1976); criterion: Schwarz, Ann. Stat. 6, 461 (1978)
[[nodiscard]] std::optional<SwingStart> scan_period(std::span<const SwingSample> samples,
                                                    std::span<const SideChange> moves = {});

}  // namespace nightswing::analysis
