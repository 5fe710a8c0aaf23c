#pragma once

#include <span>
#include <string>
#include <vector>

#include "analysis/positions/period_scan.h"
#include "analysis/positions/swing_series.h"

namespace nightswing::analysis {

/// What the track alone says about the moves of the source masses.
struct FoundSides {
  /// The first entry stands at the first sample. The track cannot tell which side is which: `plus`
  /// is the side whose rest position has the larger x. One entry alone: no move was found.
  std::vector<SideChange> changes;
  /// Moments at which the swing broke off and went on about the same rest position (a knock).
  std::vector<double> disturbances_s;
  /// How far the time of a change may be off [s].
  double u_time_s = 0.0;
  /// One sentence for the log.
  std::string message;
};

/// Finds the moves of the source masses as jumps of the rest position.
///   Between two moves the track is taken as rest position + slope + damped swing with the period
///   and damping of `start`; the number and times of the breaks that leave the least squares, with
///   a price for each break, are found exactly by dynamic programming over cells of T/20 (or 1/1200
///   of the night). A break counts as a move when the rest position jumps by more than six of its
///   standard uncertainties, 1 % of the swing and half of the largest jump; else it is a
///   disturbance.
///   samples  time-ordered
///   start    from scan_period on the same samples, or from a fit that has a period
/// throws std::invalid_argument if the period is not above 0.
///   source   optimal partitioning: Jackson et al., IEEE Signal Process. Lett. 12, 105 (2005)
[[nodiscard]] FoundSides find_sides(std::span<const SwingSample> samples, const SwingStart& start);

}  // namespace nightswing::analysis
