#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <string>

#include <opencv2/core.hpp>

namespace nightswing::tracker {

struct VideoFormat {
  std::string container;  ///< as libavformat calls it: mp4, matroska
  int width_px;           ///< even
  int height_px;          ///< even
  int units_per_second;   ///< of time stamps; that of an even film is its rate
  bool even = true;       ///< one frame for each unit of time
  int frames_between_keys;
  int quality = 20;  ///< constant rate factor of x264: 0 lossless, 23 usual, 51 worst
  std::string preset = "veryfast";
  bool no_delay = false;  ///< each frame is written as soon as it is encoded
  std::map<std::string, std::string> metadata{};
  std::map<std::string, std::string> container_options{};
};

/// A video file while it is written: H.264, yuv420p, BT.709.
class VideoEncoder {
 public:
  /// throws InputError if the file cannot be written or there is no H.264 encoder, and
  /// std::invalid_argument for an odd size.
  VideoEncoder(const std::filesystem::path& path, const VideoFormat& format);
  /// Without `finish` the file is left as it is.
  ~VideoEncoder();
  VideoEncoder(const VideoEncoder&) = delete;
  VideoEncoder& operator=(const VideoEncoder&) = delete;

  /// The next frame at its time in units, which must grow: 8 bit, three (BGR) or four channels, of
  /// which the fourth is not looked at. throws InputError if the disk takes no more.
  void write(const cv::Mat& picture, std::int64_t time);

  /// Writes what is left and the index. Call once, at the end.
  void finish();

 private:
  struct Streams;
  void encode(bool flush);

  std::filesystem::path path_;
  std::unique_ptr<Streams> streams_;
};

}  // namespace nightswing::tracker
