#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tracker/frames/picture.h"
#include "tracker/frames/stream_decoder.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// One picture and its moment.
struct Frame {
  Picture picture;   ///< stored pixels, no rotation applied
  double t_s = 0.0;  ///< since the first frame; grows from frame to frame
  std::string gap;   ///< what is missing or amiss just before this frame, a phrase; mostly empty
};

/// What the user says of the source's time. Nothing: the source's own clock counts.
struct SourceOptions {
  std::optional<double> frame_every_s;  ///< real time between two frames of a time-lapse
  std::optional<double> whole_s;        ///< real time from the first frame to the last
  GiveUp gives_up{};                    ///< of a stream that does not open
};

/// What is known of a source as soon as it is opened.
struct SourceFacts {
  int width_px = 0;
  int height_px = 0;
  double rotation_deg = 0.0;     ///< clockwise turn that would show the picture upright
  std::string time_from;         ///< how frames map to time, in words
  std::optional<UtcTime> start;  ///< wall clock of the first frame; nothing if not known
  std::string start_from;        ///< where `start` is from, or why it is not known, in words
};

/// Where frames come from: read forwards, one after the other.
class FrameSource {
 public:
  FrameSource() = default;
  virtual ~FrameSource() = default;
  FrameSource(const FrameSource&) = delete;
  FrameSource& operator=(const FrameSource&) = delete;

  /// Reads the next frame; false at the end.
  [[nodiscard]] virtual bool next(Frame& frame) = 0;

  [[nodiscard]] virtual const SourceFacts& facts() const = 0;
  /// How many frames there seem to be, for showing progress only; nothing if that is not known.
  [[nodiscard]] virtual std::optional<long> declared_frames() const = 0;
  /// A sentence for each thing that was mended or is missing; complete after the last frame.
  [[nodiscard]] virtual const std::vector<std::string>& warnings() const = 0;
};

/// Whether the name is that of a stream (`http://...` and the like), which gives its frames once.
[[nodiscard]] bool is_stream(const std::string& name);

/// Opens a video file, a folder of photographs or a stream, whichever the name is of.
/// throws InputError if it cannot be opened.
[[nodiscard]] std::unique_ptr<FrameSource> open_source(const std::string& name,
                                                       const SourceOptions& options);

}  // namespace nightswing::tracker
