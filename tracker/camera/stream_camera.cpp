#include "tracker/camera/stream_camera.h"

#include <utility>

#include <fmt/format.h>

namespace nightswing::tracker {

std::unique_ptr<StreamCamera> StreamCamera::open(const std::string& address,
                                                 const StreamPatience& patience,
                                                 const Clock& clock,
                                                 const GiveUp& gives_up) {
  auto decoder = StreamDecoder::open(address, patience, gives_up);
  if (!decoder) return nullptr;
  return std::make_unique<StreamCamera>(address, std::move(decoder), clock);
}

StreamCamera::StreamCamera(const std::string& address,
                           std::unique_ptr<StreamDecoder> decoder,
                           const Clock& clock)
    : clock_(clock), decoder_(std::move(decoder)) {
  facts_ = {.identity = without_password(address),
            .width_px = decoder_->width_px(),
            .height_px = decoder_->height_px(),
            .format = {},
            .time_from = "the moment a picture arrived"};
  facts_.format = fmt::format("{} x {}, stream", facts_.width_px, facts_.height_px);
}

Grab StreamCamera::grab(std::chrono::milliseconds, const GiveUp& gives_up) {
  using Step = StreamDecoder::Step;
  picture_ = {};
  const Step step = decoder_->next(picture_, gives_up);
  if (step == Step::kDamaged) return Grab::kDamaged;
  if (step != Step::kPicture) {
    fault_ = step == Step::kSilent       ? "it sent nothing any more"
             : step == Step::kUnreadable ? "what it sends cannot be read as pictures"
                                         : "the stream ended";
    return Grab::kGone;
  }
  const auto arrived = decoder_->arrived();
  const double arrival_s = std::chrono::duration<double>(arrived.time_since_epoch()).count();
  const std::chrono::duration<double> since = StreamDecoder::Clock::now() - arrived;
  grabbed_steady_s_ = clock_.steady_s() - since.count();
  return pace_.is_new(arrival_s) ? Grab::kPicture : Grab::kNothing;
}

bool StreamCamera::retrieve(cv::Mat& picture) {
  if (picture_.empty()) return false;
  picture = picture_.bgr();
  return true;
}

}  // namespace nightswing::tracker
