#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>

#include <opencv2/core.hpp>

#include "tracker/film/video_encoder.h"

namespace nightswing::tracker {

struct FilmFormat {
  int width_px;   ///< even
  int height_px;  ///< even
  int frames_per_second = 30;
  int quality = 20;  ///< constant rate factor of x264: 0 lossless, 23 usual, 51 worst
  std::string title{};
};

/// Writes an mp4 file that browsers and editors play: H.264, yuv420p, BT.709, index in front. The
/// film appears under its name when it is complete; until then it stands beside it as NAME.part.
class FilmWriter {
 public:
  /// throws InputError if the file cannot be written or there is no H.264 encoder, and
  /// std::invalid_argument for an odd size.
  FilmWriter(std::filesystem::path path, const FilmFormat& format);
  /// A film that was not finished is removed.
  ~FilmWriter();
  FilmWriter(const FilmWriter&) = delete;
  FilmWriter& operator=(const FilmWriter&) = delete;

  /// The next frame: 8 bit, blue green red and a fourth byte that is not looked at, of the size of
  /// the format. throws InputError if the disk takes no more.
  void write(const cv::Mat& picture);

  /// Completes the file. Call once, at the end.
  void finish();

 private:
  std::filesystem::path path_;
  std::filesystem::path part_;
  std::unique_ptr<VideoEncoder> encoder_;
  std::int64_t next_ = 0;
  bool finished_ = false;
};

}  // namespace nightswing::tracker
