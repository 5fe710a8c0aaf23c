#pragma once

#include <optional>

#include "analysis/positions/swing_series.h"
#include "tracker/run/run_folder.h"

namespace nightswing::tracker {

/// Notes in the log of a run that the sources are on this side from then on. A run that is being
/// tracked may be noted in at the same time.
///   t_s  since the first frame; may be negative
/// throws InputError if run.yaml cannot be read or the disk refuses.
void note_side(const RunFolder& run, analysis::Side side, double t_s);

/// Which side is noted at this very moment, if one is.
[[nodiscard]] std::optional<analysis::Side> side_marked_at(const RunFolder& run, double t_s);

/// Takes such a note back. throws InputError if none of this side stands at this moment; the text
/// says which do.
void withdraw_side(const RunFolder& run, analysis::Side side, double t_s);

}  // namespace nightswing::tracker
