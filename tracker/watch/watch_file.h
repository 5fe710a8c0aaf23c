#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// watch.yaml: what it takes to go on with a watch by another program, after a power cut too.
struct WatchFile {
  std::string camera;  ///< which one, in words that last (CameraFacts::identity)
  std::string every;   ///< one line of the track for so much time, as the user wrote it
  std::string scale;   ///< what the user said of the scale; empty for nothing
  std::string boot;    ///< which running of the computer the next line belongs to (Clock::boot)
  double steady_at_start_s = 0.0;  ///< its steady clock at t_s = 0; may be negative
  std::string end;                 ///< how the user named the end; empty for none
  std::optional<UtcTime> end_utc;  ///< of an end by the wall clock
};

void write_watch_file(const std::filesystem::path& path, const WatchFile& file);

/// throws InputError for a key that is unknown, missing or of the wrong kind.
[[nodiscard]] WatchFile read_watch_file(const std::filesystem::path& path);

}  // namespace nightswing::tracker
