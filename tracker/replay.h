#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "tracker/frame_counts.h"
#include "tracker/run_folder.h"
#include "tracker/time_text.h"
#include "tracker/wall_calibration.h"

namespace nightswing::tracker {

struct ReplayRequest {
  std::filesystem::path video;
  std::filesystem::path run;
  std::optional<double> frame_every_s;  ///< nothing: the file's own timestamps
  std::optional<UtcTime> start;         ///< nothing: the file's creation time, if it has one
  ScaleInView scale{};                  ///< what is known of the scale on the wall
  bool quiet = false;                   ///< no progress on stderr
};

struct ReplaySummary {
  RunFolder run;
  RunInfo info;
  long frames = 0;
  FrameCounts frames_by_state{};
  double last_t_s = 0.0;
  std::string wall{};  ///< what became of the wall map, a sentence
  bool calibrated = false;
  std::vector<std::string> warnings{};
};

/// Tracks the spot through a video file into a new run folder: run.yaml, track.csv, events.csv,
/// camera.csv, a few evidence frames, and wall.yaml if a scale is in view. A few frames
/// are held at a time.
///
/// throws InputError if the file is no video, holds no frame, shows no spot in any frame, or the
///        run folder has a track already. What was measured until then stays on the disk.
[[nodiscard]] ReplaySummary replay(const ReplayRequest& request);

}  // namespace nightswing::tracker
