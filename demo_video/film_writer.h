#pragma once

#include <cstdio>
#include <string>

#include <opencv2/core.hpp>

#include "demo_video/night_settings.h"

namespace nightswing::demo {

/// Encodes frames as H.264 in an mp4 file by the program ffmpeg. The film's own clock runs at the
/// nominal rate; its metadata carry the start of the night.
class FilmWriter {
 public:
  /// Throws SettingsError if ffmpeg cannot be started. SIGPIPE must be ignored by the program.
  FilmWriter(const std::string& path, const NightSettings& settings);
  ~FilmWriter();
  FilmWriter(const FilmWriter&) = delete;
  FilmWriter& operator=(const FilmWriter&) = delete;

  /// frame  CV_8UC3, blue green red, of the size in the settings.
  void write(const cv::Mat& frame);

  /// Waits until the file is complete. Throws SettingsError if ffmpeg reported a failure.
  void finish();

 private:
  std::string path_;
  std::FILE* pipe_;
};

}  // namespace nightswing::demo
