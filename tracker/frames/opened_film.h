#pragma once

#include <memory>
#include <optional>
#include <string>

struct AVFormatContext;
struct AVIOInterruptCB;

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
///   location  a path, or the address of a stream
///   waits     asked while a stream keeps us waiting, whether to give up; also later
[[nodiscard]] std::optional<OpenedFilm> open_film(const std::string& location,
                                                  const AVIOInterruptCB* waits = nullptr);

}  // namespace nightswing::tracker
