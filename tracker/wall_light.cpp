#include "tracker/wall_light.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <vector>

#include <Eigen/Cholesky>

#include "tracker/sample_places.h"

namespace nightswing::tracker {
namespace {

constexpr int kMostLooks = 32;   // length of the memory
constexpr int kBands = 8;        // one of them is learned per frame
constexpr int kWholeFrames = 8;  // learned whole after a start
constexpr int kFewestSamples = 50;
constexpr double kChangedShare = 0.3;
constexpr float kChange = 6.0F;
constexpr float kRelativeChange = 0.1F;
constexpr double kFewestKnown = 0.3;  // share of a patch, to lay a plane through
constexpr double kTooDark = 8.0;      // counts; below, reflectance cannot be told
constexpr double kPlainTolerance = 0.06;
constexpr double kLeastReflectance = 0.02;

// The compiler makes vector instructions of these two loops as long as nothing overlaps.
void learn_few(const std::uint8_t* __restrict luma,
               float* __restrict mean,
               std::uint8_t* __restrict looks,
               int pixels) {
  for (int k = 0; k < pixels; ++k) {
    const int count = std::min(looks[k] + 1, kMostLooks);
    mean[k] += (static_cast<float>(luma[k]) - mean[k]) / static_cast<float>(count);
    looks[k] = static_cast<std::uint8_t>(count);
  }
}

/// The same to the bit where all have been looked at often: division by a power of two is exact.
void learn_known(const std::uint8_t* __restrict luma, float* __restrict mean, int pixels) {
  static_assert((kMostLooks & (kMostLooks - 1)) == 0);
  constexpr float kShare = 1.0F / kMostLooks;
  for (int k = 0; k < pixels; ++k) mean[k] += kShare * (static_cast<float>(luma[k]) - mean[k]);
}

void learn_pixels(const std::uint8_t* luma, float* mean, std::uint8_t* looks, int first, int end) {
  constexpr int kRun = 64;
  constexpr std::array<std::uint8_t, kRun> kKnown = [] {
    std::array<std::uint8_t, kRun> known{};
    known.fill(kMostLooks);
    return known;
  }();
  for (int k = first; k < end; k += kRun) {
    const int pixels = std::min(kRun, end - k);
    if (std::memcmp(looks + k, kKnown.data(), static_cast<std::size_t>(pixels)) == 0) {
      learn_known(luma + k, mean + k, pixels);
    } else {
      learn_few(luma + k, mean + k, looks + k, pixels);
    }
  }
}

/// Luma = level + slope_x u + slope_y v, where u and v run from -1 to 1 over a patch.
struct WallPlane {
  double level = 0;
  double slope_x = 0;
  double slope_y = 0;

  [[nodiscard]] double at(double u, double v) const { return level + slope_x * u + slope_y * v; }
};

struct KnownPixel {
  double u;
  double v;
  double luma;
};

/// The learned wall within a patch.
class WallCut {
 public:
  WallCut(const SpotPatch& patch, const cv::Mat& mean, const cv::Mat& looks)
      : columns_(static_cast<int>(patch.columns())),
        rows_(static_cast<int>(patch.rows())),
        mean_(mean(cv::Rect(patch.left_px, patch.top_px, columns_, rows_))),
        looks_(looks(cv::Rect(patch.left_px, patch.top_px, columns_, rows_))) {}

  /// Calls visit(column, row, pixel) for every known pixel of each `step`-th row and column.
  template <typename Visit>
  void for_each_known(int step, Visit visit) const {
    const double per_column = 2.0 / columns_;
    const double per_row = 2.0 / rows_;
    for (int row = 0; row < rows_; row += step) {
      const auto* luma = mean_.ptr<float>(row);
      const auto* seen = looks_.ptr<std::uint8_t>(row);
      const double v = per_row * row - 1.0;
      for (int column = 0; column < columns_; column += step) {
        if (seen[column] < WallLight::kTrustedLooks) continue;
        visit(column,
              row,
              KnownPixel{per_column * column - 1.0, v, static_cast<double>(luma[column])});
      }
    }
  }

 private:
  int columns_;
  int rows_;
  cv::Mat mean_;
  cv::Mat looks_;
};

constexpr int kPlaneStep_px = 3;  // a plane needs no more than every third row and column

double plain_tolerance(double level) {
  return std::max(2.0, kPlainTolerance * level);
}

/// The plain wall: least squares through the pixels near the plane so far, beginning with the
/// median.
WallPlane plain_wall(const std::vector<KnownPixel>& pixels) {
  std::vector<double> lumas;
  lumas.reserve(pixels.size());
  for (const KnownPixel& pixel : pixels) lumas.push_back(pixel.luma);
  const auto middle = lumas.begin() + static_cast<std::ptrdiff_t>(lumas.size() / 2);
  std::nth_element(lumas.begin(), middle, lumas.end());
  WallPlane plane{.level = *middle};
  for (int round = 0; round < 3; ++round) {
    Eigen::Matrix3d normal = 1e-6 * Eigen::Matrix3d::Identity();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    for (const auto& [u, v, luma] : pixels) {
      const double level = plane.at(u, v);
      if (std::abs(luma - level) > 2.0 * plain_tolerance(level)) continue;
      const Eigen::Vector3d terms(1.0, u, v);
      normal += terms * terms.transpose();
      right += luma * terms;
    }
    if (normal(0, 0) < 10.0) break;
    const Eigen::Vector3d solution = normal.ldlt().solve(right);
    plane = {solution(0), solution(1), solution(2)};
  }
  return plane;
}

}  // namespace

void WallLight::learn(const Picture& frame, const cv::Rect& spot_zone) {
  if (mean_.empty()) {
    mean_ = cv::Mat::zeros(frame.size(), CV_32FC1);
    looks_ = cv::Mat::zeros(frame.size(), CV_8UC1);
  }
  if (frames_ < kWholeFrames) {
    learn_rows(frame, spot_zone, 0, mean_.rows);
  } else {
    const int band = static_cast<int>(frames_ % kBands);
    learn_rows(frame, spot_zone, band * mean_.rows / kBands, (band + 1) * mean_.rows / kBands);
  }
  ++frames_;
}

void WallLight::learn_rows(const Picture& frame, const cv::Rect& spot_zone, int first, int end) {
  if (first >= end) return;
  const cv::Mat luma = frame.gray({0, first, mean_.cols, end - first});
  for (int row = first; row < end; ++row) {
    const auto* value = luma.ptr<std::uint8_t>(row - first);
    auto* mean = mean_.ptr<float>(row);
    auto* looks = looks_.ptr<std::uint8_t>(row);
    const bool crossed = row >= spot_zone.y && row < spot_zone.y + spot_zone.height;
    const int left = crossed ? spot_zone.x : mean_.cols;
    const int right = crossed ? spot_zone.x + spot_zone.width : mean_.cols;
    learn_pixels(value, mean, looks, 0, left);
    learn_pixels(value, mean, looks, right, mean_.cols);
  }
}

void WallLight::forget() {
  if (!looks_.empty()) looks_.setTo(0);
  frames_ = 0;
}

bool WallLight::light_changed(const Picture& frame, const cv::Rect& spot_zone) const {
  if (mean_.empty()) return false;
  const int step_px = sample_step_px(mean_.size());
  int samples = 0;
  int changed = 0;
  for (int row = step_px / 2; row < mean_.rows; row += step_px) {
    const auto* mean = mean_.ptr<float>(row);
    const auto* looks = looks_.ptr<std::uint8_t>(row);
    for (int column = step_px / 2; column < mean_.cols; column += step_px) {
      if (looks[column] == 0 || spot_zone.contains({column, row})) continue;
      const float now = static_cast<float>(frame.gray_at(column, row));
      const float limit = std::max(kChange, kRelativeChange * std::max(now, mean[column]));
      ++samples;
      if (std::abs(now - mean[column]) > limit) ++changed;
    }
  }
  return samples >= kFewestSamples && changed > kChangedShare * samples;
}

bool WallLight::is_known(double x_px, double y_px) const {
  if (looks_.empty()) return false;
  const int column = std::clamp(static_cast<int>(std::lround(x_px)), 0, looks_.cols - 1);
  const int row = std::clamp(static_cast<int>(std::lround(y_px)), 0, looks_.rows - 1);
  return looks_.at<std::uint8_t>(row, column) >= kTrustedLooks;
}

void WallLight::prepare(SpotPatch& patch) const {
  if (mean_.empty()) return;
  const WallCut cut(patch, mean_, looks_);
  std::vector<KnownPixel> pixels;
  pixels.reserve(static_cast<std::size_t>(patch.counts.size()) / kPlaneStep_px);
  cut.for_each_known(kPlaneStep_px,
                     [&](int, int, const KnownPixel& pixel) { pixels.push_back(pixel); });
  const double places = static_cast<double>(patch.counts.size()) / (kPlaneStep_px * kPlaneStep_px);
  if (static_cast<double>(pixels.size()) < kFewestKnown * places) return;
  const WallPlane plane = plain_wall(pixels);
  cut.for_each_known(1, [&](int column, int row, const KnownPixel& pixel) {
    const double level = plane.at(pixel.u, pixel.v);
    const double excess = pixel.luma - level;
    if (level > kTooDark && excess < -plain_tolerance(level)) {
      patch.reflectance(column, row) = std::max(pixel.luma / level, kLeastReflectance);
    } else {
      patch.counts(column, row) -= excess;
    }
  });
}

}  // namespace nightswing::tracker
