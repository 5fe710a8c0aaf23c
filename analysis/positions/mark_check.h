#pragma once

#include <span>
#include <string>
#include <vector>

#include "analysis/positions/side_changes.h"
#include "analysis/positions/swing_series.h"

namespace nightswing::analysis {

/// What the marks say that the track does not show, and the other way round: a sentence for each
/// mark beside which the rest position does not change, with the time at which it does if a move
/// was found elsewhere, and for each move found where none is marked. Moves to or from `away` are
/// not judged (the track cannot tell half a shift from a knock), nor marks with less than a period
/// of the track before or after them; the latter explain what is found up to a period away.
///   marks     time-ordered, as used
///   found     by find_sides on the whole track; its first entry is no move
///   watched   from the first to the last position of the track (its side does not matter)
///   settle_s  how long a move may take
[[nodiscard]] std::vector<std::string> contradicted_marks(std::span<const SideChange> marks,
                                                          const FoundSides& found,
                                                          const Segment& watched,
                                                          double period_s,
                                                          double settle_s);

}  // namespace nightswing::analysis
