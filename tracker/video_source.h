#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <opencv2/core.hpp>
#include <opencv2/videoio.hpp>

#include "tracker/time_text.h"

namespace nightswing::tracker {

/// One picture and its moment.
struct Frame {
  cv::Mat picture;   ///< 8-bit BGR, stored pixels (no rotation applied)
  double t_s = 0.0;  ///< since the first frame
};

struct VideoSourceOptions {
  /// Real time between two frames of a time-lapse. Nothing: the file's own timestamps count.
  std::optional<double> frame_every_s;
};

/// Reads a video file forwards, frame by frame, through OpenCV. Never seeks. What OpenCV 4.6 is
/// known to do wrong is mended here and reported in `warnings`:
///   - the last frames of H.264 and HEVC with B frames carry time 0: a time that does not grow is
///     replaced by the previous one plus the usual step (opencv issue 22141)
///   - rotation tags are applied the wrong way round: never applied (opencv issue 22088)
///   - one failed read is not the end of a damaged file: up to 50 more are tried, and frames that
///     are missing in between (a leap in even timestamps) keep their time free
class VideoSource {
 public:
  /// throws InputError if the file does not exist or is no video.
  explicit VideoSource(const std::filesystem::path& path, const VideoSourceOptions& options = {});

  /// Reads the next frame into `frame`, whose memory is used again; false at the end.
  [[nodiscard]] bool next(Frame& frame);

  [[nodiscard]] int width_px() const { return width_px_; }
  [[nodiscard]] int height_px() const { return height_px_; }
  [[nodiscard]] double rotation_deg() const { return rotation_deg_; }
  [[nodiscard]] std::optional<UtcTime> created() const { return created_; }
  /// How many frames the file says it has, for showing progress only; nothing if it does not say.
  [[nodiscard]] std::optional<long> declared_frames() const;
  /// A sentence for each thing that was mended or is missing; complete at the end of the file.
  [[nodiscard]] const std::vector<std::string>& warnings() const { return warnings_; }

 private:
  bool read_picture(cv::Mat& picture);
  double file_time_s(int failed_reads);
  double usual_step_s() const;
  bool has_even_steps() const;
  void finish();

  std::string name_;
  VideoSourceOptions options_;
  cv::VideoCapture capture_;
  int width_px_ = 0;
  int height_px_ = 0;
  double rotation_deg_ = 0.0;
  std::optional<UtcTime> created_;
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
