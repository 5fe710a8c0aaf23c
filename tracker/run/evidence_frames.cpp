#include "tracker/run/evidence_frames.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "tracker/frames/picture_file.h"

namespace nightswing::tracker {
namespace {

constexpr double kEvery_s = 1800.0;

}  // namespace

void EvidenceFrames::go_on(const cv::Mat& first, double t_s) {
  first_.set(first);
  kept_ = static_cast<int>(std::min(t_s / kEvery_s, 1.0 * kMostKept));
  next_s_ = kEvery_s * (std::floor(t_s / kEvery_s) + 1.0);
}

void EvidenceFrames::see(const Picture& picture, double t_s) {
  if (!first_.is_whole()) {
    first_.add(picture.bgr());
    if (first_.is_whole()) write_picture(run_.first_frame(), first_mean());
  }
  if (t_s >= next_s_ && kept_ < kMostKept) {
    write_picture(run_.frames() / fmt::format("at_{:06.0f}s.jpg", t_s), picture.bgr());
    ++kept_;
    next_s_ = kEvery_s * (std::floor(t_s / kEvery_s) + 1.0);
  }
}

void EvidenceFrames::finish() {
  if (!first_.is_empty() && !first_.is_whole()) write_picture(run_.first_frame(), first_mean());
}

}  // namespace nightswing::tracker
