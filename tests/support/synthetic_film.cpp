#include "tests/support/synthetic_film.h"

#include <stdexcept>
#include <utility>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

namespace nightswing::test {

std::string quoted(const std::string& text) {
  std::string word = "'";
  for (const char c : text) word += c == '\'' ? "'\\''" : std::string(1, c);
  return word + "'";
}

FilmPipe::FilmPipe(const std::filesystem::path& film,
                   cv::Size size,
                   double frames_per_s,
                   const std::string& encoding)
    : size_(size) {
  const std::string command = fmt::format(
      "ffmpeg -v error -y -f rawvideo -pix_fmt bgr24 -s {}x{} -r {} -i - {} {} 2>/dev/null",
      size.width,
      size.height,
      frames_per_s,
      encoding,
      quoted(film.string()));
  pipe_ = ::popen(command.c_str(), "w");
  if (pipe_ == nullptr) throw std::runtime_error("ffmpeg could not be started");
}

FilmPipe::~FilmPipe() {
  if (pipe_ != nullptr) ::pclose(pipe_);
}

void FilmPipe::write(const cv::Mat& picture) {
  if (picture.size() != size_) throw std::invalid_argument("a film's pictures are of one size");
  cv::Mat colour;
  if (picture.channels() == 1) {
    cv::cvtColor(picture, colour, cv::COLOR_GRAY2BGR);
  } else {
    colour = picture.isContinuous() ? picture : picture.clone();
  }
  const std::size_t bytes = colour.total() * colour.elemSize();
  if (std::fwrite(colour.data, 1, bytes, pipe_) != bytes) {
    throw std::runtime_error("ffmpeg takes no more pictures");
  }
}

void FilmPipe::close() {
  const int status = ::pclose(pipe_);
  pipe_ = nullptr;
  if (status != 0) throw std::runtime_error("ffmpeg could not make the film");
}

FilmPictures::FilmPictures(const std::filesystem::path& film, cv::Size size) : size_(size) {
  const std::string command = fmt::format(
      "ffmpeg -v error -nostdin -i {} -fps_mode passthrough -f rawvideo -pix_fmt bgr24 - "
      "2>/dev/null",
      quoted(film.string()));
  pipe_ = ::popen(command.c_str(), "r");
  if (pipe_ == nullptr) throw std::runtime_error("ffmpeg could not be started");
}

FilmPictures::~FilmPictures() {
  if (pipe_ != nullptr) ::pclose(pipe_);
}

bool FilmPictures::next(cv::Mat& picture) {
  picture.create(size_, CV_8UC3);
  const std::size_t bytes = picture.total() * picture.elemSize();
  const std::size_t read = std::fread(picture.data, 1, bytes, pipe_);
  if (read == bytes) return true;
  const int status = ::pclose(std::exchange(pipe_, nullptr));
  if (read != 0 || status != 0) throw std::runtime_error("ffmpeg could not read the film whole");
  return false;
}

}  // namespace nightswing::test
