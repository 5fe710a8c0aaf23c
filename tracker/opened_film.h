#pragma once

#include <filesystem>
#include <memory>
#include <optional>

struct AVFormatContext;

namespace nightswing::tracker {

struct CloseFilm {
  void operator()(AVFormatContext* container) const;
};

/// A film that was opened, and which of its streams is the video.
struct OpenedFilm {
  std::unique_ptr<AVFormatContext, CloseFilm> container;
  int stream = -1;
};

/// Nothing if it is no film, or one without a video. Silences libav for the whole program: its own
/// complaints would stand between our sentences.
[[nodiscard]] std::optional<OpenedFilm> open_film(const std::filesystem::path& path);

}  // namespace nightswing::tracker
