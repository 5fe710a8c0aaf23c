#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "tracker/run/frame_counts.h"
#include "tracker/run/run_folder.h"
#include "tracker/text/time_text.h"
#include "tracker/wall/wall_calibration.h"

namespace nightswing::tracker {

struct ReplayRequest {
  std::string source;  ///< a video file, a folder of photographs, or the address of a stream
  std::filesystem::path run;
  std::optional<double> frame_every_s{};  ///< nothing: the source's own clock
  std::optional<UtcTime> start{};         ///< nothing: what the source says, if it does
  std::optional<UtcTime> end{};  ///< of the last frame: with `start` and instead of `frame_every_s`
  std::optional<double> average_s{};  ///< one line for each such window; nothing: one a frame
  bool resume = false;                ///< go on with a run that was interrupted
  ScaleInView scale{};                ///< what is known of the scale on the wall
  bool quiet = false;                 ///< no progress on stderr
  /// Asked after every frame, and while a stream is being opened: who stops it, in words, or
  /// nothing. What was tracked until then makes a whole run, so it is for streams, which have no
  /// end; an interrupted film can be resumed.
  std::function<std::string()> why_stop{};
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
/// With `resume` an interrupted run, whatever moment it was killed at, ends up the same as one that
/// was not, to the byte, but for a `resumed` line in the log. The film is decoded and the spot
/// followed from the first frame again, because what the finder has learned until then decides what
/// it does later, and because seeking in films is not exact; lines that stand in the files are
/// compared instead of written. What others wrote into the log meanwhile, and a wall map, is kept.
///
/// throws InputError if the file is no video, holds no frame, shows no spot in any frame, if the
///        run folder has a track already (with `resume`: one that this film with these options does
///        not give), or another program is tracking into it. What was measured until then stays on
///        the disk.
[[nodiscard]] ReplaySummary replay(const ReplayRequest& request);

}  // namespace nightswing::tracker
