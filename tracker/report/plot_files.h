#pragma once

#include <span>

#include "tracker/report/canvas.h"
#include "tracker/run/run_folder.h"

namespace nightswing::tracker {

/// Writes every figure to plots/ as SVG, PNG and PDF, and the data behind it as CSV. Files of
/// figures that an earlier analysis had and this one has not are removed. throws InputError if the
/// disk refuses.
void write_plots(const RunFolder& run, std::span<const Figure> figures);

}  // namespace nightswing::tracker
