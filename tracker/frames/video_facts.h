#pragma once

#include <filesystem>
#include <optional>

#include "tracker/frames/opened_film.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// What a video file says of itself.
struct VideoFacts {
  std::optional<UtcTime> created;    ///< creation time in the container
  std::optional<double> duration_s;  ///< declared length of the video stream
  double rotation_deg = 0.0;         ///< clockwise turn that would show the picture upright
};

/// Reads the container's head.
[[nodiscard]] VideoFacts video_facts(const OpenedFilm& film);

/// How many pictures the file's video stream holds, by reading through it without decoding.
[[nodiscard]] long count_pictures(const std::filesystem::path& path);

}  // namespace nightswing::tracker
