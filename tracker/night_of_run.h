#pragma once

#include <string>
#include <vector>

#include "analysis/night.h"
#include "tracker/frame_counts.h"
#include "tracker/run_folder.h"

namespace nightswing::tracker {

/// A run folder as the analysis wants it: the track in millimetres.
struct NightOfRun {
  analysis::Night night;
  RunInfo info;
  FrameCounts frames_by_state{};
  double mm_per_px = 0.0;             ///< in the middle of the travel
  std::vector<std::string> warnings;  ///< damaged lines, extrapolation, a map that does not fit
};

/// Reads run.yaml, track.csv, events.csv and wall.yaml and maps every measured position to the
/// wall. The sides are those marked in events.csv. throws InputError if a file is missing or
/// damaged beyond a line, if wall.yaml belongs to a picture
///        of another size, or if no position was measured.
[[nodiscard]] NightOfRun read_night(const RunFolder& run);

}  // namespace nightswing::tracker
