#include "tracker/evidence_frames.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "tracker/picture_file.h"

namespace nightswing::tracker {
namespace {

constexpr int kMeanOf = 8;
constexpr double kEvery_s = 1800.0;

}  // namespace

void EvidenceFrames::go_on(const cv::Mat& first, double t_s) {
  first.convertTo(sum_, CV_16U, kMeanOf);
  summed_ = kMeanOf;
  kept_ = static_cast<int>(std::min(t_s / kEvery_s, 1.0 * kMostKept));
  next_s_ = kEvery_s * (std::floor(t_s / kEvery_s) + 1.0);
}

void EvidenceFrames::see(const Picture& picture, double t_s) {
  if (summed_ < kMeanOf) {
    if (sum_.empty()) sum_ = cv::Mat::zeros(picture.size(), CV_16UC3);
    cv::add(sum_, picture.bgr(), sum_, cv::noArray(), CV_16U);
    if (++summed_ == kMeanOf) write_picture(run_.first_frame(), first_mean());
  }
  if (t_s >= next_s_ && kept_ < kMostKept) {
    write_picture(run_.frames() / fmt::format("at_{:06.0f}s.jpg", t_s), picture.bgr());
    ++kept_;
    next_s_ = kEvery_s * (std::floor(t_s / kEvery_s) + 1.0);
  }
}

void EvidenceFrames::finish() {
  if (summed_ > 0 && summed_ < kMeanOf) write_picture(run_.first_frame(), first_mean());
}

bool EvidenceFrames::has_first_mean() const {
  return summed_ == kMeanOf;
}

cv::Mat EvidenceFrames::first_mean() const {
  cv::Mat mean;
  if (summed_ > 0) sum_.convertTo(mean, CV_8U, 1.0 / summed_);
  return mean;
}

}  // namespace nightswing::tracker
