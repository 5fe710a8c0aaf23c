#pragma once

#include <cstdio>
#include <filesystem>
#include <string>

#include <opencv2/core.hpp>

namespace nightswing::test {

/// Makes a film of pictures through the ffmpeg program; throws if it cannot.
class FilmPipe {
 public:
  /// `encoding` are ffmpeg's options for the output, such as `-c:v libx264 -crf 18`.
  FilmPipe(const std::filesystem::path& film,
           cv::Size size,
           double frames_per_s,
           const std::string& encoding);
  ~FilmPipe();
  FilmPipe(const FilmPipe&) = delete;
  FilmPipe& operator=(const FilmPipe&) = delete;

  /// 8-bit BGR or gray.
  void write(const cv::Mat& picture);
  /// Ends the film.
  void close();

 private:
  std::FILE* pipe_ = nullptr;
  cv::Size size_;
};

}  // namespace nightswing::test
