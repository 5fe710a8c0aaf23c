#include "calibration/motion/coarse_registration.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>

#include <opencv2/imgproc.hpp>

namespace nightswing::calibration {
namespace {

constexpr int kWidth_px = 320;
constexpr int kBlock_px = 24;
constexpr int kEvery_px = 28;
constexpr int kCoarseReach_px = 20;
constexpr double kLeastContrast = 3.0;  // counts; standard deviation within a block
constexpr double kLeastBlockCorrelation = 0.7;
constexpr double kLeastBase_px = 40.0;    // two blocks nearer to each other tell no rotation
constexpr double kMostCoarseTurn = 0.09;  // rad, and relative change of size
constexpr double kTolerance_px = 1.5;
constexpr int kFewest = 5;

using Place = std::complex<double>;

/// now = turn * reference + shift, both from the middle of the small picture.
struct Similarity {
  Place turn{1.0, 0.0};
  Place shift{0.0, 0.0};
};

struct Found {
  Place reference;
  Place now;
};

cv::Mat small_luma(const cv::Mat& picture, int reduction) {
  cv::Mat small;
  cv::resize(picture,
             small,
             cv::Size(picture.cols / reduction, picture.rows / reduction),
             0.0,
             0.0,
             cv::INTER_AREA);
  if (small.channels() == 3) cv::cvtColor(small, small, cv::COLOR_BGR2GRAY);
  return small;
}

bool agrees(const Similarity& motion, const Found& found) {
  return std::abs(motion.turn * found.reference + motion.shift - found.now) < kTolerance_px;
}

Similarity through(const std::vector<Found>& all) {
  Place mean_reference;
  Place mean_now;
  for (const Found& found : all) {
    mean_reference += found.reference / static_cast<double>(all.size());
    mean_now += found.now / static_cast<double>(all.size());
  }
  Place product;
  double squares = 0.0;
  for (const Found& found : all) {
    product += (found.now - mean_now) * std::conj(found.reference - mean_reference);
    squares += std::norm(found.reference - mean_reference);
  }
  Similarity motion;
  if (squares > 0.0) motion.turn = product / squares;
  motion.shift = mean_now - motion.turn * mean_reference;
  return motion;
}

/// The places that agree with the best of the similarities through two of them.
std::vector<Found> largest_agreement(const std::vector<Found>& all) {
  std::vector<Found> best;
  for (std::size_t i = 0; i < all.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      if (std::abs(all[i].reference - all[j].reference) < kLeastBase_px) continue;
      const Similarity motion = through({all[i], all[j]});
      if (std::abs(motion.turn - 1.0) > kMostCoarseTurn) continue;
      std::vector<Found> agreeing;
      std::ranges::copy_if(
          all, std::back_inserter(agreeing), [&](const Found& f) { return agrees(motion, f); });
      if (agreeing.size() > best.size()) best = std::move(agreeing);
    }
  }
  return best;
}

}  // namespace

CoarseRegistration::CoarseRegistration(const cv::Mat& reference, const cv::Mat& ignored)
    : reduction_(std::max(1, (reference.cols + kWidth_px / 2) / kWidth_px)) {
  const cv::Mat small = small_luma(reference, reduction_);
  cv::Mat small_ignored;
  cv::resize(ignored, small_ignored, small.size(), 0.0, 0.0, cv::INTER_AREA);
  size_ = small.size();
  for (int y = 0; y + kBlock_px <= small.rows; y += kEvery_px) {
    for (int x = 0; x + kBlock_px <= small.cols; x += kEvery_px) {
      const cv::Rect area(x, y, kBlock_px, kBlock_px);
      cv::Scalar mean;
      cv::Scalar deviation;
      cv::meanStdDev(small(area), mean, deviation);
      if (deviation[0] < kLeastContrast || cv::countNonZero(small_ignored(area)) > 0) continue;
      blocks_.push_back({area, small(area).clone()});
    }
  }
}

std::optional<CameraMotion> CoarseRegistration::find(const cv::Mat& picture) const {
  const cv::Mat small = small_luma(picture, reduction_);
  const Place middle(0.5 * (size_.width - 1), 0.5 * (size_.height - 1));
  std::vector<Found> all;
  for (const Block& block : blocks_) {
    const cv::Rect around = cv::Rect(block.area.x - kCoarseReach_px,
                                     block.area.y - kCoarseReach_px,
                                     kBlock_px + 2 * kCoarseReach_px,
                                     kBlock_px + 2 * kCoarseReach_px) &
                            cv::Rect({0, 0}, size_);
    cv::Mat correlation;
    cv::matchTemplate(small(around), block.luma, correlation, cv::TM_CCOEFF_NORMED);
    double best = 0.0;
    cv::Point at;
    cv::minMaxLoc(correlation, nullptr, &best, nullptr, &at);
    if (best < kLeastBlockCorrelation) continue;
    const double half_px = 0.5 * (kBlock_px - 1);
    const Place reference = Place(block.area.x + half_px, block.area.y + half_px) - middle;
    all.push_back(
        {reference,
         reference + Place(around.x + at.x - block.area.x, around.y + at.y - block.area.y)});
  }
  const std::vector<Found> agreeing = largest_agreement(all);
  if (agreeing.size() < kFewest) return std::nullopt;
  const Similarity motion = through(agreeing);
  return CameraMotion{.shift_x_px = reduction_ * motion.shift.real(),
                      .shift_y_px = reduction_ * motion.shift.imag(),
                      .rotation_rad = std::arg(motion.turn),
                      .zoom = std::abs(motion.turn)};
}

}  // namespace nightswing::calibration
