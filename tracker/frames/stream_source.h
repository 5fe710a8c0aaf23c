#pragma once

#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tracker/frames/frame_source.h"
#include "tracker/frames/stream_decoder.h"
#include "tracker/frames/stream_pace.h"

namespace nightswing::tracker {

/// A stream by its address, such as the pictures that a phone serves over HTTP (motion JPEG). Each
/// frame has the time of its arrival by this computer's clock: such streams carry no time of their
/// own that could be trusted. What may have waited on the way is passed over (StreamPace). It ends
/// when the sender ends, sends no picture for ten seconds, or pictures of another size.
class StreamSource : public FrameSource {
 public:
  /// throws InputError if nothing answers within ten seconds, or no video does.
  explicit StreamSource(const std::string& address, const SourceOptions& options = {});

  [[nodiscard]] bool next(Frame& frame) override;
  [[nodiscard]] const SourceFacts& facts() const override { return facts_; }
  [[nodiscard]] std::optional<long> declared_frames() const override { return std::nullopt; }
  [[nodiscard]] const std::vector<std::string>& warnings() const override { return warnings_; }

 private:
  /// Waits for the next picture, over what is damaged or may have waited.
  [[nodiscard]] StreamDecoder::Step next_picture(Picture& picture);

  std::unique_ptr<StreamDecoder> decoder_;
  StreamPace pace_;
  GiveUp gives_up_;
  SourceFacts facts_;
  std::vector<std::string> warnings_;
  std::optional<StreamDecoder::Clock::time_point> first_;
  double last_s_ = 0.0;
  bool ended_ = false;
};

}  // namespace nightswing::tracker
