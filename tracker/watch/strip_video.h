#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include <opencv2/core.hpp>

#include "tracker/film/video_encoder.h"
#include "tracker/spot/spot_measurement.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {

struct StripVideoOptions {
  double every_s = 1.0;  ///< between two frames
  std::uint64_t most_bytes = 0;
};

/// A video of the night from which it can be tracked again, small because only the strip that the
/// spot runs through is shown anew in each frame; the rest of the picture stands still for a
/// minute. So it has the pixels, the scale and the wall of the camera's pictures, and `replay`
/// reads it as any film. Frames have the time of the run; of a killed program the last seconds of
/// the file are missing (Matroska).
class StripVideo {
 public:
  /// Begins a file in `folder`, named after the time of its first frame; what lies there counts for
  /// the limit. `start` is the wall clock of t_s = 0.
  StripVideo(std::filesystem::path folder, const StripVideoOptions& options, UtcTime start);
  ~StripVideo();
  StripVideo(const StripVideo&) = delete;
  StripVideo& operator=(const StripVideo&) = delete;

  /// The next picture and what was measured in it. Returns why the video ended with it, in words,
  /// by its limit or because the disk takes no more; empty if it goes on, or had ended before.
  [[nodiscard]] std::string see(const cv::Mat& picture, double t_s, const SpotMeasurement& spot);

  /// Ends it before its time, such as when the disk is nearly full. Returns what went wrong, in
  /// words (its last seconds are missing then, as after a power cut); empty if nothing did.
  std::string end();

  /// Whether it has ended, by its limit or by `end`.
  [[nodiscard]] bool has_ended() const { return ended_; }

  /// What its files take up.
  [[nodiscard]] std::uint64_t bytes() const;

 private:
  void open(const cv::Mat& picture, double t_s);
  void write(const cv::Mat& picture, double t_s, const SpotMeasurement& spot);
  [[nodiscard]] cv::Rect strip(cv::Size size) const;
  void widen(const SpotMeasurement& spot);

  std::filesystem::path folder_;
  StripVideoOptions options_;
  UtcTime start_;
  std::unique_ptr<VideoEncoder> encoder_;
  cv::Mat shown_;
  cv::Rect2d path_px_;  // of the spot so far
  bool has_path_ = false;
  double first_s_ = 0.0;
  std::optional<double> next_s_;
  double next_whole_s_ = 0.0;
  std::int64_t last_ms_ = -1;
  bool ended_ = false;
};

}  // namespace nightswing::tracker
