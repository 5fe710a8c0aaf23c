#include "tracker/frames/stream_source.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

using Step = StreamDecoder::Step;

constexpr std::chrono::milliseconds kPatience{10'000};
constexpr double kLeastStep_s = 1e-6;   // the track keeps microseconds, and its times must grow
constexpr double kLongSilence_s = 5.0;  // told in the log

}  // namespace

StreamSource::StreamSource(const std::string& address, const SourceOptions& options) {
  if (options.frame_every_s || options.whole_s) {
    throw UsageError(fmt::format(
        "the frames of {} have the time of their arrival; leave --frame-every and --end out",
        without_password(address)));
  }
  gives_up_ = options.gives_up;
  decoder_ =
      StreamDecoder::open(address, {.open = kPatience, .picture = kPatience}, options.gives_up);
  if (!decoder_) {
    throw InputError(fmt::format("{} was not replayed: stopped before its video came",
                                 without_password(address)));
  }
  facts_.width_px = decoder_->width_px();
  facts_.height_px = decoder_->height_px();
  facts_.time_from = "arrival of the frames";
  facts_.start = std::chrono::floor<UtcTime::duration>(std::chrono::system_clock::now());
  facts_.start_from = "this computer's clock when the stream was opened";
}

StreamDecoder::Step StreamSource::next_picture(Picture& picture) {
  const auto until = StreamDecoder::Clock::now() + kPatience;
  while (StreamDecoder::Clock::now() < until) {
    const Step step = decoder_->next(picture, gives_up_);
    if (step == Step::kDamaged) continue;
    const auto arrived = decoder_->arrived().time_since_epoch();
    const double arrival_s = std::chrono::duration<double>(arrived).count();
    if (step != Step::kPicture || pace_.is_new(arrival_s)) return step;
  }
  return Step::kUnreadable;
}

bool StreamSource::next(Frame& frame) {
  if (ended_) return false;
  frame.gap.clear();
  const Step step = next_picture(frame.picture);
  const cv::Size size = frame.picture.size();
  if (step != Step::kPicture) {
    ended_ = true;
    if (step != Step::kEnd && !(gives_up_ && gives_up_())) {
      warnings_.push_back(
          fmt::format("the stream sent {} for {} s and was given up",
                      step == Step::kSilent ? "nothing" : "nothing that can be read as a picture",
                      kPatience.count() / 1000));
    }
    return false;
  }
  if (size != cv::Size(facts_.width_px, facts_.height_px)) {
    ended_ = true;
    warnings_.push_back(
        fmt::format("the stream's pictures were {} x {} and became {} x {}, for which the map to "
                    "the wall does not hold: it was given up there",
                    facts_.width_px,
                    facts_.height_px,
                    size.width,
                    size.height));
    return false;
  }
  const auto arrived = decoder_->arrived();
  if (!first_) first_ = arrived;
  const double since_s = std::chrono::duration<double>(arrived - *first_).count();
  frame.t_s = arrived == *first_ ? 0.0 : std::max(since_s, last_s_ + kLeastStep_s);
  if (frame.t_s - last_s_ > kLongSilence_s) {
    frame.gap = fmt::format("the stream was silent for {:.1f} s", frame.t_s - last_s_);
  }
  last_s_ = frame.t_s;
  return true;
}

}  // namespace nightswing::tracker
