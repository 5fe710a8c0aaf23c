#pragma once

#include <sys/types.h>

#include <string>
#include <vector>

namespace nightswing::test {

/// A TCP port of this computer that nobody listens at.
[[nodiscard]] int free_port();

/// The ffmpeg program as a network camera: serves its first visitor at the pace of the input, then
/// ends.
class FfmpegServer {
 public:
  /// input, encoding  words of its command line, such as {"-i", "night.mp4"} and {"-f", "mpjpeg"}
  FfmpegServer(const std::vector<std::string>& input, const std::vector<std::string>& encoding);
  ~FfmpegServer();
  FfmpegServer(const FfmpegServer&) = delete;
  FfmpegServer& operator=(const FfmpegServer&) = delete;

  [[nodiscard]] const std::string& address() const { return address_; }

 private:
  std::string address_;
  pid_t child_ = -1;
};

}  // namespace nightswing::test
