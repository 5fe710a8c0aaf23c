#include "tracker/frames/video_source.h"

#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/median.h"
#include "tracker/frames/video_facts.h"
#include "tracker/text/pace_text.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kStepsKept = 501;
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
  decoder_.emplace(path);
  const VideoFacts file = video_facts(decoder_->film());
  declared_s_ = file.duration_s;
  facts_.width_px = decoder_->width_px();
  facts_.height_px = decoder_->height_px();
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
    facts_.time_from = time_from_whole(pictures, *options.whole_s);
  }
}

std::optional<long> VideoSource::declared_frames() const {
  return decoder_->declared_frames();
}

bool VideoSource::next(Frame& frame) {
  if (finished_) return false;
  DecodedFrame decoded;
  bool after_damage = false;
  while (true) {
    const FilmDecoder::Step step = decoder_->next(decoded);
    if (step == FilmDecoder::Step::kEnd) {
      finish();
      return false;
    }
    const cv::Size expected(facts_.width_px, facts_.height_px);
    if (step == FilmDecoder::Step::kFrame && decoded.picture.size() == expected) break;
    after_damage = true;
  }
  frame.gap.clear();
  const double before_s = last_file_s_;
  const double now_s = file_time_s(decoded, after_damage);
  if (count_ == 0) {
    first_file_s_ = now_s;
  } else {
    const long steps = steps_over(now_s - before_s, after_damage);
    if (steps > 1) frame.gap = fmt::format("{} frames of the film could not be read", steps - 1);
    missing_ += steps - 1;
    position_ += steps;
  }
  last_file_s_ = now_s;
  last_shown_s_ = decoded.duration_s;
  ++count_;
  frame.picture = std::move(decoded.picture);
  frame.t_s =
      frame_every_s_ ? *frame_every_s_ * static_cast<double>(position_) : now_s - first_file_s_;
  return true;
}

/// How many frames further this one is. Damage shows as a failed read or as a leap in otherwise
/// even timestamps; where the steps are uneven anyway, a long one is a variable rate.
long VideoSource::steps_over(double step_s, bool after_damage) const {
  // The usual step is no shorter than the shortest; asking for it sorts, for every frame.
  if (step_s < 1.5 * shortest_step_s_) return 1;
  if (!after_damage && !has_even_steps()) return 1;
  return std::max(1L, std::lround(step_s / usual_step_s()));
}

/// The timestamp of the frame just read, replaced where it does not grow.
double VideoSource::file_time_s(const DecodedFrame& decoded, bool after_damage) {
  if (count_ == 0) return decoded.t_s.value_or(0.0);
  if (!decoded.t_s || *decoded.t_s <= last_file_s_) {
    ++repaired_;
    return last_file_s_ + usual_step_s();
  }
  if (!after_damage && steps_s_.size() < kStepsKept) {
    const double step_s = *decoded.t_s - last_file_s_;
    shortest_step_s_ = steps_s_.empty() ? step_s : std::min(shortest_step_s_, step_s);
    steps_s_.push_back(step_s);
  }
  return *decoded.t_s;
}

double VideoSource::usual_step_s() const {
  if (!steps_s_.empty()) return analysis::median_of(steps_s_);
  return 1.0 / decoder_->frames_per_second();
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
  const double read_s = last_file_s_ - first_file_s_ + last_shown_s_.value_or(usual_step_s());
  if (count_ > 0 && declared_s_ && read_s < *declared_s_ - 2.0 * usual_step_s() - 0.05) {
    warnings_.push_back(
        fmt::format("the file breaks off: it declares {:.2f} s of video and gave {:.2f} s",
                    *declared_s_,
                    read_s));
  }
}

}  // namespace nightswing::tracker
