#pragma once

#include <chrono>
#include <functional>
#include <optional>
#include <string>

#include <opencv2/videoio.hpp>

namespace nightswing::tracker {

/// Whether to wait no longer; asked several times a second. Empty: never.
using GiveUp = std::function<bool()>;

/// How long to wait for a network camera.
struct StreamPatience {
  /// Until it is open: before the first picture FFmpeg looks at up to 7 s of a stream, and of a
  /// slow camera that takes it longer than that to come.
  std::chrono::milliseconds open{20'000};
  std::chrono::milliseconds picture{5'000};  ///< for each picture later
};

/// Opens the video at an address; nothing if it was given up before it was open. FFmpeg, which does
/// the waiting, cannot be told to stop: what was given up goes on in a thread of its own until the
/// patience is over.
/// throws InputError if no video comes.
[[nodiscard]] std::optional<cv::VideoCapture> open_stream(const std::string& address,
                                                          const StreamPatience& patience,
                                                          const GiveUp& gives_up);

/// Whether one was given up in this program. Such a program must end without destroying its static
/// objects, which the thread may still use.
[[nodiscard]] bool was_stream_given_up();

}  // namespace nightswing::tracker
