#include "tracker/video_source.h"

#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstdlib>
#include <system_error>

#include <fmt/format.h>
#include <opencv2/core/utils/logger.hpp>

#include "analysis/input_error.h"
#include "analysis/track_cleaning.h"
#include "tracker/run_folder.h"
#include "tracker/video_facts.h"

namespace nightswing::tracker {
namespace {

constexpr int kReadTries = 50;
constexpr std::size_t kStepsKept = 501;
constexpr double kMillisecond_s = 1e-3;
constexpr double kEvenStep = 0.1;

}  // namespace

VideoSource::VideoSource(const std::filesystem::path& path, const SourceOptions& options)
    : name_(path.string()) {
  if (!std::filesystem::exists(path)) {
    throw InputError(fmt::format("there is no file {}", name_));
  }
  if (std::filesystem::is_directory(path)) {
    throw InputError(fmt::format("{} is a folder; give a video file", name_));
  }
  if (::access(path.c_str(), R_OK) != 0) {
    throw InputError(
        fmt::format("cannot read {}: {}", name_, std::generic_category().message(errno)));
  }
  if (std::filesystem::is_regular_file(path) && std::filesystem::file_size(path) == 0) {
    throw InputError(fmt::format("{} is empty: 0 bytes", name_));
  }
  const VideoFacts file = read_video_facts(path);
  declared_s_ = file.duration_s;
  // The decoder's own complaints would stand between our sentences; what matters is in warnings().
  ::setenv("OPENCV_FFMPEG_LOGLEVEL", "-8", 0);
  cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
  if (!capture_.open(name_, cv::CAP_FFMPEG)) {
    throw InputError(fmt::format(
        "{} cannot be read as a video; if its recorder was cut off the file was not closed and its "
        "index is missing, else convert it to H.264 in MP4",
        name_));
  }
  capture_.set(cv::CAP_PROP_ORIENTATION_AUTO, 0);
  facts_.width_px = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_WIDTH));
  facts_.height_px = static_cast<int>(capture_.get(cv::CAP_PROP_FRAME_HEIGHT));
  facts_.rotation_deg = file.rotation_deg;
  facts_.start = file.created;
  facts_.start_from = file.created ? "creation time in the file"
                                   : "not known: times are relative to the first frame";
  set_pace(path, options);
}

void VideoSource::set_pace(const std::filesystem::path& path, const SourceOptions& options) {
  frame_every_s_ = options.frame_every_s;
  facts_.time_from = "timestamps of the file";
  if (frame_every_s_) {
    facts_.time_from = time_from_steps(*frame_every_s_);
  } else if (options.whole_s) {
    const long pictures = count_pictures(path);
    if (pictures < 2) throw InputError(fmt::format("{} holds less than two frames", name_));
    frame_every_s_ = *options.whole_s / static_cast<double>(pictures - 1);
    facts_.time_from = fmt::format("{} frames evenly over {:.3f} s", pictures, *options.whole_s);
  }
}

std::optional<long> VideoSource::declared_frames() const {
  const double count = capture_.get(cv::CAP_PROP_FRAME_COUNT);
  if (!(count >= 1.0 && count < 1e9)) return std::nullopt;
  return std::lround(count);
}

bool VideoSource::next(Frame& frame) {
  if (finished_) return false;
  frame.gap.clear();
  int failed_reads = 0;
  while (!read_picture(frame.picture)) {
    if (++failed_reads > kReadTries) {
      finish();
      return false;
    }
  }
  const double before_s = last_file_s_;
  const double now_s = file_time_s(failed_reads);
  if (count_ == 0) {
    first_file_s_ = now_s;
  } else {
    // Damage shows as a failed read or as a leap in otherwise even timestamps; where the steps are
    // uneven anyway, a long one is a variable rate.
    const bool may_be_missing = failed_reads > 0 || has_even_steps();
    const long steps =
        may_be_missing ? std::max(1L, std::lround((now_s - before_s) / usual_step_s())) : 1;
    if (steps > 1) frame.gap = fmt::format("{} frames of the film could not be read", steps - 1);
    missing_ += steps - 1;
    position_ += steps;
  }
  last_file_s_ = now_s;
  ++count_;
  frame.t_s =
      frame_every_s_ ? *frame_every_s_ * static_cast<double>(position_) : now_s - first_file_s_;
  return true;
}

bool VideoSource::read_picture(Picture& picture) {
  try {
    cv::Mat pixels;
    if (!capture_.read(pixels) || pixels.size() != cv::Size(facts_.width_px, facts_.height_px)) {
      return false;
    }
    picture = pixels;
    return true;
  } catch (const cv::Exception&) {
    return false;  // a damaged packet; what it held is counted as missing
  }
}

/// The timestamp of the frame just read, replaced where it does not grow.
double VideoSource::file_time_s(int failed_reads) {
  const double stamp_s = kMillisecond_s * capture_.get(cv::CAP_PROP_POS_MSEC);
  if (count_ == 0) return std::isfinite(stamp_s) ? stamp_s : 0.0;
  if (!(stamp_s > last_file_s_)) {
    ++repaired_;
    return last_file_s_ + usual_step_s();
  }
  if (failed_reads == 0 && steps_s_.size() < kStepsKept) {
    steps_s_.push_back(stamp_s - last_file_s_);
  }
  return stamp_s;
}

double VideoSource::usual_step_s() const {
  if (!steps_s_.empty()) return analysis::median_of(steps_s_);
  const double rate = capture_.get(cv::CAP_PROP_FPS);
  return rate > 0.0 ? 1.0 / rate : 0.04;
}

bool VideoSource::has_even_steps() const {
  if (steps_s_.size() < 2) return false;
  // A frame that is missing itself makes one long step; the rest must still agree.
  const double usual_s = usual_step_s();
  const auto even = std::ranges::count_if(
      steps_s_, [&](double step_s) { return std::abs(step_s - usual_s) < kEvenStep * usual_s; });
  return even >= std::ssize(steps_s_) - std::ssize(steps_s_) / 10 - 1;
}

void VideoSource::finish() {
  finished_ = true;
  if (repaired_ > 0 && !frame_every_s_) {
    warnings_.push_back(fmt::format(
        "{} frames had no usable time of their own and were placed one usual step after the frame "
        "before",
        repaired_));
  }
  if (missing_ > 0) {
    warnings_.push_back(fmt::format("the file is damaged: {} frames could not be read", missing_));
  }
  const double read_s = last_file_s_ - first_file_s_ + usual_step_s();
  if (count_ > 0 && declared_s_ && read_s < *declared_s_ - 2.0 * usual_step_s() - 0.05) {
    warnings_.push_back(
        fmt::format("the file breaks off: it declares {:.2f} s of video and gave {:.2f} s",
                    *declared_s_,
                    read_s));
  }
}

}  // namespace nightswing::tracker
