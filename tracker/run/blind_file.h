#pragma once

#include <optional>

#include "tracker/run/run_folder.h"

namespace nightswing::tracker {

/// The hidden factor of a run, kept in its folder (blind.yaml) until the analysis is opened.
/// throws  InputError if the file is damaged.
[[nodiscard]] std::optional<double> read_blind_factor(const RunFolder& run);

/// Draws a factor between 0.9 and 1.1, the same odds everywhere, and keeps it; a run that is blind
/// already keeps its factor.
void make_blind(const RunFolder& run);

/// Forgets the factor: from now on G is shown as it is.
void open_blind(const RunFolder& run);

}  // namespace nightswing::tracker
