#include "tracker/wall_light.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <Eigen/Cholesky>

namespace nightswing::tracker {
namespace {

constexpr int kMostLooks = 32;      // length of the memory
constexpr int kFewestLooks = 8;     // before a pixel is trusted
constexpr int kBands = 8;           // one of them is learned per frame
constexpr int kWholeFrames = 8;     // learned whole after a start
constexpr int kSampleStep_px = 16;  // grid of places that tell a change of light
constexpr int kFewestSamples = 50;
constexpr double kChangedShare = 0.3;
constexpr float kChange = 6.0F;
constexpr float kRelativeChange = 0.1F;
constexpr double kFewestKnown = 0.3;  // share of a patch, to lay a plane through
constexpr double kTooDark = 8.0;      // counts; below, reflectance cannot be told
constexpr double kPlainTolerance = 0.06;
constexpr double kLeastReflectance = 0.02;

void learn_pixels(const std::uint8_t* luma, float* mean, std::uint8_t* looks, int first, int end) {
  for (int k = first; k < end; ++k) {
    const int count = std::min(looks[k] + 1, kMostLooks);
    mean[k] += (static_cast<float>(luma[k]) - mean[k]) / static_cast<float>(count);
    looks[k] = static_cast<std::uint8_t>(count);
  }
}

float luma_at(const cv::Mat& frame, int column, int row) {
  if (frame.channels() == 1) return static_cast<float>(frame.at<std::uint8_t>(row, column));
  const auto& p = frame.at<cv::Vec3b>(row, column);
  return 0.114F * static_cast<float>(p[0]) + 0.587F * static_cast<float>(p[1]) +
         0.299F * static_cast<float>(p[2]);
}

/// Luma = value (0) + value (1) u + value (2) v, where u and v run from -1 to 1 over a patch.
using WallPlane = Eigen::Vector3d;

/// The learned wall within a patch.
class WallCut {
 public:
  WallCut(const SpotPatch& patch, const cv::Mat& mean, const cv::Mat& looks)
      : columns_(static_cast<int>(patch.columns())),
        rows_(static_cast<int>(patch.rows())),
        mean_(mean(cv::Rect(patch.left_px, patch.top_px, columns_, rows_))),
        looks_(looks(cv::Rect(patch.left_px, patch.top_px, columns_, rows_))) {}

  /// Calls visit(column, row, u, v, luma) for every known pixel of each `step`-th row and column.
  template <typename Visit>
  void for_each_known(int step, Visit visit) const {
    for (int row = 0; row < rows_; row += step) {
      const auto* luma = mean_.ptr<float>(row);
      const auto* seen = looks_.ptr<std::uint8_t>(row);
      const double v = 2.0 * row / rows_ - 1.0;
      for (int column = 0; column < columns_; column += step) {
        if (seen[column] < kFewestLooks) continue;
        visit(column, row, 2.0 * column / columns_ - 1.0, v, static_cast<double>(luma[column]));
      }
    }
  }

 private:
  int columns_;
  int rows_;
  cv::Mat mean_;
  cv::Mat looks_;
};

constexpr int kPlaneStep_px = 2;  // a plane needs no more than every second row and column

double plain_tolerance(double level) {
  return std::max(2.0, kPlainTolerance * level);
}

/// The plain wall: least squares through the pixels near the plane so far, beginning with the
/// median of `lumas`.
WallPlane plain_wall(const WallCut& cut, std::vector<double>& lumas) {
  const auto middle = lumas.begin() + static_cast<std::ptrdiff_t>(lumas.size() / 2);
  std::nth_element(lumas.begin(), middle, lumas.end());
  WallPlane plane(*middle, 0.0, 0.0);
  for (int round = 0; round < 3; ++round) {
    Eigen::Matrix3d normal = 1e-6 * Eigen::Matrix3d::Identity();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    cut.for_each_known(kPlaneStep_px, [&](int, int, double u, double v, double luma) {
      const Eigen::Vector3d terms(1.0, u, v);
      const double level = plane.dot(terms);
      if (std::abs(luma - level) > 2.0 * plain_tolerance(level)) return;
      normal += terms * terms.transpose();
      right += luma * terms;
    });
    if (normal(0, 0) < 10.0) break;
    plane = normal.ldlt().solve(right);
  }
  return plane;
}

}  // namespace

void WallLight::learn(const cv::Mat& frame, const cv::Rect& spot_zone) {
  if (mean_.empty()) {
    mean_ = cv::Mat::zeros(frame.size(), CV_32FC1);
    looks_ = cv::Mat::zeros(frame.size(), CV_8UC1);
  }
  if (frames_ < kWholeFrames) {
    learn_rows(frame, spot_zone, 0, frame.rows);
  } else {
    const int band = static_cast<int>(frames_ % kBands);
    learn_rows(frame, spot_zone, band * frame.rows / kBands, (band + 1) * frame.rows / kBands);
  }
  ++frames_;
}

void WallLight::learn_rows(const cv::Mat& frame, const cv::Rect& spot_zone, int first, int end) {
  if (first >= end) return;
  const cv::Mat luma = luma_of(frame, cv::Rect(0, first, frame.cols, end - first));
  for (int row = first; row < end; ++row) {
    const auto* value = luma.ptr<std::uint8_t>(row - first);
    auto* mean = mean_.ptr<float>(row);
    auto* looks = looks_.ptr<std::uint8_t>(row);
    const bool crossed = row >= spot_zone.y && row < spot_zone.y + spot_zone.height;
    const int left = crossed ? spot_zone.x : frame.cols;
    const int right = crossed ? spot_zone.x + spot_zone.width : frame.cols;
    learn_pixels(value, mean, looks, 0, left);
    learn_pixels(value, mean, looks, right, frame.cols);
  }
}

void WallLight::forget() {
  if (!looks_.empty()) looks_.setTo(0);
  frames_ = 0;
}

bool WallLight::light_changed(const cv::Mat& frame, const cv::Rect& spot_zone) const {
  if (mean_.empty()) return false;
  int samples = 0;
  int changed = 0;
  for (int row = kSampleStep_px / 2; row < frame.rows; row += kSampleStep_px) {
    const auto* mean = mean_.ptr<float>(row);
    const auto* looks = looks_.ptr<std::uint8_t>(row);
    for (int column = kSampleStep_px / 2; column < frame.cols; column += kSampleStep_px) {
      if (looks[column] == 0 || spot_zone.contains({column, row})) continue;
      const float now = luma_at(frame, column, row);
      const float limit = std::max(kChange, kRelativeChange * std::max(now, mean[column]));
      ++samples;
      if (std::abs(now - mean[column]) > limit) ++changed;
    }
  }
  return samples >= kFewestSamples && changed > kChangedShare * samples;
}

void WallLight::prepare(SpotPatch& patch) const {
  if (mean_.empty()) return;
  const WallCut cut(patch, mean_, looks_);
  std::vector<double> lumas;
  cut.for_each_known(kPlaneStep_px,
                     [&](int, int, double, double, double luma) { lumas.push_back(luma); });
  const double places = static_cast<double>(patch.counts.size()) / (kPlaneStep_px * kPlaneStep_px);
  if (static_cast<double>(lumas.size()) < kFewestKnown * places) return;
  const WallPlane plane = plain_wall(cut, lumas);
  cut.for_each_known(1, [&](int column, int row, double u, double v, double luma) {
    const double level = plane.dot(Eigen::Vector3d(1.0, u, v));
    const double excess = luma - level;
    if (level > kTooDark && excess < -plain_tolerance(level)) {
      patch.reflectance(column, row) = std::max(luma / level, kLeastReflectance);
    } else {
      patch.counts(column, row) -= excess;
    }
  });
}

}  // namespace nightswing::tracker
