#include "tests/support/synthetic_film.h"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

namespace nightswing::test {

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
      film.string());
  pipe_ = ::popen(command.c_str(), "w");
  REQUIRE(pipe_ != nullptr);
}

FilmPipe::~FilmPipe() {
  if (pipe_ != nullptr) ::pclose(pipe_);
}

void FilmPipe::write(const cv::Mat& picture) {
  REQUIRE(picture.size() == size_);
  cv::Mat colour;
  if (picture.channels() == 1) {
    cv::cvtColor(picture, colour, cv::COLOR_GRAY2BGR);
  } else {
    colour = picture.isContinuous() ? picture : picture.clone();
  }
  const std::size_t bytes = colour.total() * colour.elemSize();
  REQUIRE(std::fwrite(colour.data, 1, bytes, pipe_) == bytes);
}

void FilmPipe::close() {
  const int status = ::pclose(pipe_);
  pipe_ = nullptr;
  REQUIRE(status == 0);
}

}  // namespace nightswing::test
