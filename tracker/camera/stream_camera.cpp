#include "tracker/camera/stream_camera.h"

#include <cstdlib>

#include <fmt/format.h>
#include <opencv2/core/utils/logger.hpp>

#include "analysis/input_error.h"

namespace nightswing::tracker {

StreamCamera::StreamCamera(const std::string& address,
                           const StreamPatience& patience,
                           const Clock& clock)
    : clock_(clock), patience_(patience.picture) {
  ::setenv("OPENCV_FFMPEG_LOGLEVEL", "-8", 0);
  cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
  bool opened = false;
  try {
    opened = capture_.open(address,
                           cv::CAP_FFMPEG,
                           {cv::CAP_PROP_OPEN_TIMEOUT_MSEC,
                            static_cast<int>(patience.open.count()),
                            cv::CAP_PROP_READ_TIMEOUT_MSEC,
                            static_cast<int>(patience.picture.count())});
  } catch (const cv::Exception&) {
    // what came was no video
  }
  if (!opened) {
    throw InputError(fmt::format(
        "no video comes from {}; check in a browser on this computer that the address shows one",
        address));
  }
  capture_.set(cv::CAP_PROP_ORIENTATION_AUTO, 0);
  facts_ = {.identity = address,
            .width_px = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_WIDTH)),
            .height_px = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_HEIGHT)),
            .format = {},
            .time_from = "the moment a picture arrived"};
  facts_.format = fmt::format("{} x {}, stream", facts_.width_px, facts_.height_px);
}

Grab StreamCamera::grab(std::chrono::milliseconds) {
  const auto asked = std::chrono::steady_clock::now();
  bool grabbed = false;
  try {
    grabbed = capture_.grab();
  } catch (const cv::Exception&) {
    // what came was no picture
  }
  grabbed_steady_s_ = clock_.steady_s();
  const auto now = std::chrono::steady_clock::now();
  if (!grabbed) {
    fault_ = now - asked >= patience_ ? "it sent nothing any more" : "the stream ended";
    return Grab::kGone;
  }
  const double arrival_s = std::chrono::duration<double>(now.time_since_epoch()).count();
  return pace_.is_new(arrival_s) ? Grab::kPicture : Grab::kNothing;
}

bool StreamCamera::retrieve(cv::Mat& picture) {
  try {
    return capture_.retrieve(picture) && !picture.empty();
  } catch (const cv::Exception&) {
    return false;
  }
}

}  // namespace nightswing::tracker
