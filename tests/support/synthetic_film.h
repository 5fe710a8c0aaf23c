#pragma once

#include <cstdio>
#include <filesystem>
#include <string>

#include <opencv2/core.hpp>

namespace nightswing::test {

/// One word for the shell, whatever is in it.
[[nodiscard]] std::string quoted(const std::string& text);

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

/// The pictures of a film as they are stored, by a decoder that is not ours: the ffmpeg program.
class FilmPictures {
 public:
  /// Of a film of that size; throws if the program cannot be started.
  FilmPictures(const std::filesystem::path& film, cv::Size size);
  ~FilmPictures();
  FilmPictures(const FilmPictures&) = delete;
  FilmPictures& operator=(const FilmPictures&) = delete;

  /// 8-bit BGR; false at the end. Throws if the film cannot be read or is of another size.
  [[nodiscard]] bool next(cv::Mat& picture);

 private:
  std::FILE* pipe_ = nullptr;
  cv::Size size_;
};

}  // namespace nightswing::test
