#include "tracker/camera/stream_camera.h"

#include <utility>

#include <fmt/format.h>

namespace nightswing::tracker {

std::unique_ptr<StreamCamera> StreamCamera::open(const std::string& address,
                                                 const StreamPatience& patience,
                                                 const Clock& clock,
                                                 const GiveUp& gives_up) {
  auto opened = open_stream(address, patience, gives_up);
  if (!opened) return nullptr;
  return std::make_unique<StreamCamera>(address, std::move(*opened), patience, clock);
}

StreamCamera::StreamCamera(const std::string& address,
                           cv::VideoCapture opened,
                           const StreamPatience& patience,
                           const Clock& clock)
    : clock_(clock), patience_(patience.picture), capture_(std::move(opened)) {
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
