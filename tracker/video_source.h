#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <opencv2/videoio.hpp>

#include "tracker/frame_source.h"

namespace nightswing::tracker {

/// Reads a video file forwards, frame by frame, through OpenCV. Never seeks. What OpenCV 4.6 is
/// known to do wrong is mended here and reported in `warnings`:
///   - the last frames of H.264 and HEVC with B frames carry time 0: a time that does not grow is
///     replaced by the previous one plus the usual step (OpenCV bug 22141)
///   - rotation tags are applied the wrong way round: never applied (OpenCV bug 22088)
///   - one failed read is not the end of a damaged file: up to 50 more are tried, and frames that
///     are missing in between (a leap in even timestamps) keep their time free and are told in the
///     next frame's `gap`
class VideoSource : public FrameSource {
 public:
  /// throws InputError if the file does not exist or is no video.
  explicit VideoSource(const std::filesystem::path& path, const SourceOptions& options = {});

  [[nodiscard]] bool next(Frame& frame) override;
  [[nodiscard]] const SourceFacts& facts() const override { return facts_; }
  [[nodiscard]] std::optional<long> declared_frames() const override;
  [[nodiscard]] const std::vector<std::string>& warnings() const override { return warnings_; }

 private:
  bool read_picture(Picture& picture);
  double file_time_s(int failed_reads);
  double usual_step_s() const;
  bool has_even_steps() const;
  void set_pace(const std::filesystem::path& path, const SourceOptions& options);
  void finish();

  std::string name_;
  std::optional<double> frame_every_s_;
  cv::VideoCapture capture_;
  SourceFacts facts_;
  std::optional<double> declared_s_;
  long count_ = 0;     // frames delivered
  long position_ = 0;  // frames since the first one, missing ones counted
  double first_file_s_ = 0.0;
  double last_file_s_ = 0.0;
  std::vector<double> steps_s_;  // the first steps between timestamps; enough for their median
  long repaired_ = 0;
  long missing_ = 0;
  bool finished_ = false;
  std::vector<std::string> warnings_;
};

}  // namespace nightswing::tracker
