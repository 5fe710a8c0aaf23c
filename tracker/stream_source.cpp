#include "tracker/stream_source.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "analysis/input_error.h"
#include "tracker/opened_stream.h"

namespace nightswing::tracker {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::chrono::milliseconds kPatience{10'000};
constexpr int kReadTries = 5;           // one picture may be damaged on its way
constexpr double kLeastStep_s = 1e-6;   // the track keeps microseconds, and its times must grow
constexpr double kLongSilence_s = 5.0;  // told in the log

}  // namespace

StreamSource::StreamSource(const std::string& address, const SourceOptions& options) {
  if (options.frame_every_s || options.whole_s) {
    throw InputError(fmt::format(
        "the frames of {} have the time of their arrival; leave --frame-every and --end out",
        address));
  }
  auto opened = open_stream(address, {.open = kPatience, .picture = kPatience}, options.gives_up);
  if (!opened) {
    throw InputError(fmt::format("{} was not replayed: stopped before its video came", address));
  }
  capture_ = std::move(*opened);
  facts_.width_px = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_WIDTH));
  facts_.height_px = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_HEIGHT));
  facts_.time_from = "arrival of the frames";
  facts_.start = std::chrono::floor<UtcTime::duration>(std::chrono::system_clock::now());
  facts_.start_from = "this computer's clock when the stream was opened";
}

bool StreamSource::next(Frame& frame) {
  if (ended_) return false;
  frame.gap.clear();
  const Clock::time_point asked = Clock::now();
  for (int tries = 0; tries < kReadTries; ++tries) {
    bool read = false;
    try {
      cv::Mat pixels;
      read = capture_.read(pixels) && pixels.cols == facts_.width_px &&
             pixels.rows == facts_.height_px;
      if (read) frame.picture = pixels;
    } catch (const cv::Exception&) {
      // a damaged picture
    }
    const Clock::time_point now = Clock::now();
    if (read) {
      if (!first_) first_ = now;
      const double since_s = std::chrono::duration<double>(now - *first_).count();
      frame.t_s = now == *first_ ? 0.0 : std::max(since_s, last_s_ + kLeastStep_s);
      if (frame.t_s - last_s_ > kLongSilence_s) {
        frame.gap = fmt::format("the stream was silent for {:.1f} s", frame.t_s - last_s_);
      }
      last_s_ = frame.t_s;
      return true;
    }
    if (now - asked >= kPatience) break;
  }
  ended_ = true;
  if (Clock::now() - asked >= kPatience) {
    warnings_.push_back(
        fmt::format("the stream sent nothing for {} s and was given up", kPatience.count() / 1000));
  }
  return false;
}

}  // namespace nightswing::tracker
