#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "tracker/frames/film_decoder.h"
#include "tracker/frames/frame_source.h"

namespace nightswing::tracker {

/// Reads a video file forwards, frame by frame. Rotation tags are never applied. What is wrong with
/// a file is mended and reported in `warnings`:
///   - a time that is missing or does not grow is replaced by the previous one plus the usual step
///   - what cannot be decoded is passed over; frames that are missing (a leap in even timestamps)
///     keep their time free and are told in the next frame's `gap`
///   - a file that ends before the time that it declares
class VideoSource : public FrameSource {
 public:
  /// throws InputError if the file does not exist or is no video.
  explicit VideoSource(const std::filesystem::path& path, const SourceOptions& options = {});

  [[nodiscard]] bool next(Frame& frame) override;
  [[nodiscard]] const SourceFacts& facts() const override { return facts_; }
  [[nodiscard]] std::optional<long> declared_frames() const override;
  [[nodiscard]] const std::vector<std::string>& warnings() const override { return warnings_; }

 private:
  double file_time_s(const DecodedFrame& decoded, bool after_damage);
  long steps_over(double step_s, bool after_damage) const;
  double usual_step_s() const;
  bool has_even_steps() const;
  void set_pace(const std::filesystem::path& path, const SourceOptions& options);
  void finish();

  std::string name_;
  std::optional<double> frame_every_s_;
  std::optional<FilmDecoder> decoder_;  // once the file looks like one
  SourceFacts facts_;
  std::optional<double> declared_s_;
  long count_ = 0;     // frames delivered
  long position_ = 0;  // frames since the first one, missing ones counted
  double first_file_s_ = 0.0;
  double last_file_s_ = 0.0;
  std::optional<double> last_shown_s_;  // how long the last frame lasts
  std::vector<double> steps_s_;   // the first steps between timestamps; enough for their median
  double shortest_step_s_ = 0.0;  // of these
  long repaired_ = 0;
  long missing_ = 0;
  bool finished_ = false;
  std::vector<std::string> warnings_;
};

}  // namespace nightswing::tracker
