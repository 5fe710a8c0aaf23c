#include "tracker/opened_stream.h"

#include <atomic>
#include <cstdlib>
#include <future>
#include <thread>
#include <utility>

#include <fmt/format.h>
#include <opencv2/core/utils/logger.hpp>

#include "analysis/input_error.h"

namespace nightswing::tracker {
namespace {

constexpr std::chrono::milliseconds kAskEvery{100};

std::atomic<bool> given_up = false;

cv::VideoCapture opened(const std::string& address, const StreamPatience& patience) {
  cv::VideoCapture capture;
  bool is_open = false;
  try {
    is_open = capture.open(address,
                           cv::CAP_FFMPEG,
                           {cv::CAP_PROP_OPEN_TIMEOUT_MSEC,
                            static_cast<int>(patience.open.count()),
                            cv::CAP_PROP_READ_TIMEOUT_MSEC,
                            static_cast<int>(patience.picture.count())});
  } catch (const cv::Exception&) {
    // what came was no video
  }
  if (!is_open) {
    throw InputError(fmt::format(
        "no video comes from {}; check in a browser on this computer that the address shows one",
        address));
  }
  capture.set(cv::CAP_PROP_ORIENTATION_AUTO, 0);
  return capture;
}

}  // namespace

std::optional<cv::VideoCapture> open_stream(const std::string& address,
                                            const StreamPatience& patience,
                                            const GiveUp& gives_up) {
  ::setenv("OPENCV_FFMPEG_LOGLEVEL", "-8", 0);
  cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
  if (!gives_up) return opened(address, patience);
  std::packaged_task<cv::VideoCapture()> opening(
      [address, patience] { return opened(address, patience); });
  auto result = opening.get_future();
  std::thread(std::move(opening)).detach();
  while (result.wait_for(kAskEvery) != std::future_status::ready) {
    if (!gives_up()) continue;
    given_up = true;
    return std::nullopt;
  }
  return result.get();
}

bool was_stream_given_up() {
  return given_up;
}

}  // namespace nightswing::tracker
