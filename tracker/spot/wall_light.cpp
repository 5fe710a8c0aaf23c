#include "tracker/spot/wall_light.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <utility>
#include <vector>

#include <Eigen/Cholesky>

#include "calibration/map/median.h"
#include "tracker/spot/sample_places.h"

namespace nightswing::tracker {
namespace {

constexpr int kMostLooks = 32;   // length of the memory
constexpr int kBands = 8;        // one of them is learned per frame,
constexpr int kLaterBands = 16;  // later, when most of the wall is known
constexpr int kLaterFrames = 512;
constexpr int kWholeFrames = 8;  // learned whole after a start
constexpr int kFewestSamples = 50;
constexpr double kChangedShare = 0.3;
constexpr float kChange = 6.0F;
constexpr float kRelativeChange = 0.1F;
constexpr float kFewLooks = 2.0F;  // times that, of a mean of few looks
constexpr double kFollowed = 0.5;  // counts; a smaller even drift is left to the looks
constexpr double kChange_noises = 4.0;
constexpr int kRows = 8;  // so few that what is made of them is still in the cache
constexpr int kNoiseStep_px = 4;
constexpr int kNoiseEvery = 9;        // frames: in another of the bands each time
constexpr int kNoiseMemory = 32;      // of these
constexpr double kFewestKnown = 0.3;  // share of a patch, to lay a plane through
constexpr double kTooDark = 8.0;      // counts; below, reflectance cannot be told
constexpr double kPlainTolerance = 0.06;
constexpr double kLeastReflectance = 0.02;

/// Farther from what was learned than a tenth and `least` counts.
bool is_strange(float luma, float mean, float least) {
  return std::abs(luma - mean) > std::max(least, kRelativeChange * std::max(luma, mean));
}

/// A run of pixels of one row: what is in the frame, and what has been learned of it.
struct WallRun {
  const std::uint8_t* luma;
  float* mean;
  std::uint8_t* looks;
  std::int8_t* strange;
  int pixels;
};

constexpr int kRun_px = 256;

// The compiler makes vector instructions of these three loops as long as nothing overlaps.

/// How many pixels may be strange.
int count_strange(const std::uint8_t* __restrict luma,
                  const float* __restrict mean,
                  int pixels,
                  float least) {
  int strange = 0;
  for (int k = 0; k < pixels; ++k) {
    strange += std::abs(static_cast<float>(luma[k]) - mean[k]) > least ? 1 : 0;
  }
  return strange;
}

void look_again(const std::uint8_t* __restrict luma,
                float* __restrict mean,
                std::uint8_t* __restrict looks,
                int pixels) {
  for (int k = 0; k < pixels; ++k) {
    const int count = std::min(looks[k] + 1, kMostLooks);
    mean[k] += (static_cast<float>(luma[k]) - mean[k]) / static_cast<float>(count);
    looks[k] = static_cast<std::uint8_t>(count);
  }
}

/// The same to the bit where all have been looked at often (division by a power of two is exact),
/// into another place, since some pixels may turn out to be strange; returns how many.
int look_at_known(const std::uint8_t* __restrict luma,
                  const float* __restrict mean,
                  float* __restrict next,
                  int pixels,
                  float least) {
  static_assert((kMostLooks & (kMostLooks - 1)) == 0);
  constexpr float kShare = 1.0F / kMostLooks;
  int strange = 0;
  for (int k = 0; k < pixels; ++k) {
    const float off = static_cast<float>(luma[k]) - mean[k];
    next[k] = mean[k] + kShare * off;
    strange += std::abs(off) > least ? 1 : 0;
  }
  return strange;
}

/// Somebody, a torch or another image of the spot may be before the wall: what is strange counts
/// only if it stays, and what little was learned before it passed or while it did is learned anew.
void look_at_strange(const WallRun& run, float least) {
  for (int k = 0; k < run.pixels; ++k) {
    const float luma = run.luma[k];
    float& mean = run.mean[k];
    std::uint8_t& looks = run.looks[k];
    std::int8_t& strange = run.strange[k];
    const bool trusted = looks >= WallLight::kTrustedLooks;
    if (trusted && is_strange(luma, mean, least)) {
      const auto last = static_cast<int>(strange);
      strange =
          static_cast<std::int8_t>(luma > mean ? std::max(last, 0) + 1 : std::min(last, 0) - 1);
      if (std::abs(strange) < WallLight::kStrangeLooks) continue;
      looks = 0;
    } else if (!trusted && is_strange(luma, mean, kFewLooks * least)) {
      looks = 0;
    }
    strange = 0;
    const int count = std::min(looks + 1, kMostLooks);
    mean += (luma - mean) / static_cast<float>(count);
    looks = static_cast<std::uint8_t>(count);
  }
}

void learn_run(const WallRun& run, float least) {
  constexpr std::array<std::uint8_t, kRun_px> kKnown = [] {
    std::array<std::uint8_t, kRun_px> known{};
    known.fill(kMostLooks);
    return known;
  }();
  const auto pixels = static_cast<std::size_t>(run.pixels);
  if (std::memcmp(run.looks, kKnown.data(), pixels) == 0) {
    std::array<float, kRun_px> next;
    if (look_at_known(run.luma, run.mean, next.data(), run.pixels, least) == 0) {
      std::memcpy(run.mean, next.data(), pixels * sizeof(float));
      std::memset(run.strange, 0, pixels);
    } else {
      look_at_strange(run, least);
    }
  } else if (count_strange(run.luma, run.mean, run.pixels, least) == 0) {
    look_again(run.luma, run.mean, run.looks, run.pixels);
    std::memset(run.strange, 0, pixels);
  } else {
    look_at_strange(run, least);
  }
}

void learn_pixels(const WallRun& row, int first, int end, float least) {
  for (int k = first; k < end; k += kRun_px) {
    learn_run(
        {row.luma + k, row.mean + k, row.looks + k, row.strange + k, std::min(kRun_px, end - k)},
        least);
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

constexpr int kPlaneStep_px = 3;      // a plane needs no more than every third row and column
constexpr double kPlanePlaces = 400;  // and no more places than that

/// From -1 to 1 over the pixels of a row or column.
double place_in(int index, int size) {
  return index * (2.0 / size) - 1.0;
}

/// Of each `step_px`-th row and column.
std::vector<KnownPixel> known_pixels(const cv::Mat& mean, const cv::Mat& looks, int step_px) {
  std::vector<KnownPixel> pixels;
  pixels.reserve(mean.total() / static_cast<std::size_t>(step_px));
  for (int row = 0; row < mean.rows; row += step_px) {
    const auto* luma = mean.ptr<float>(row);
    const auto* seen = looks.ptr<std::uint8_t>(row);
    for (int column = 0; column < mean.cols; column += step_px) {
      if (seen[column] < WallLight::kTrustedLooks) continue;
      pixels.push_back({place_in(column, mean.cols),
                        place_in(row, mean.rows),
                        static_cast<double>(luma[column])});
    }
  }
  return pixels;
}

template <typename Real>
Real plain_tolerance(Real level) {
  return std::max(Real{2}, static_cast<Real>(kPlainTolerance) * level);
}

/// Print, or a shade as dark.
bool is_dark(float level, float excess) {
  // A wall too dark to tell is never dark enough, without a branch that would stop the vectors.
  const float least = level > static_cast<float>(kTooDark) ? -plain_tolerance(level) : -1e9F;
  return excess < least;
}

/// A row of the plane, and what has been learned there.
struct PlaneRow {
  const float* middle_levels;  ///< of the row in the middle of the patch
  float rise;                  ///< by how much the level of this row is above that
  const float* mean;
  const std::uint8_t* looks;
};

// The compiler makes vector instructions of this loop as long as nothing overlaps.

/// By how much each pixel is brighter than the plane, 0 where that is not known; returns how many
/// are dark.
int compare_with_plane(const PlaneRow& row, float* __restrict excess, int pixels) {
  const float* __restrict middle_levels = row.middle_levels;
  const float* __restrict mean = row.mean;
  const std::uint8_t* __restrict looks = row.looks;
  const float rise = row.rise;
  int dark = 0;
  for (int k = 0; k < pixels; ++k) {
    const float level = middle_levels[k] + rise;
    const float known = looks[k] < WallLight::kTrustedLooks ? 0.0F : 1.0F;
    excess[k] = known * (mean[k] - level);
    dark += is_dark(level, excess[k]) ? 1 : 0;
  }
  return dark;
}

/// The plain wall: least squares through the pixels near the plane so far, beginning with the
/// median.
WallPlane plain_wall(const std::vector<KnownPixel>& pixels) {
  std::vector<double> lumas;
  lumas.reserve(pixels.size());
  for (const KnownPixel& pixel : pixels) lumas.push_back(pixel.luma);
  WallPlane plane{.level = calibration::upper_median_of(std::move(lumas))};
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

void WallLight::learn(const Picture& frame, const cv::Rect& spot_zone, const cv::Rect& ghost_zone) {
  if (mean_.empty()) {
    mean_ = cv::Mat::zeros(frame.size(), CV_32FC1);
    looks_ = cv::Mat::zeros(frame.size(), CV_8UC1);
    strange_ = cv::Mat::zeros(frame.size(), CV_8SC1);
  }
  std::array<cv::Rect, 2> zones{spot_zone, ghost_zone};
  std::ranges::sort(zones, {}, &cv::Rect::x);
  const int bands = frames_ < kLaterFrames ? kBands : kLaterBands;
  const int band = static_cast<int>(frames_ % bands);
  const bool whole = frames_ < kWholeFrames;
  const int first = whole ? 0 : band * mean_.rows / bands;
  const int end = whole ? mean_.rows : (band + 1) * mean_.rows / bands;
  if (frames_ % kNoiseEvery == 0) learn_noise(frame, std::min((first + end) / 2, mean_.rows - 1));
  learn_rows(frame, zones, first, end);
  ++frames_;
}

/// From the median of the absolute differences in one row.
void WallLight::learn_noise(const Picture& frame, int row) {
  const auto* mean = mean_.ptr<float>(row);
  const auto* looks = looks_.ptr<std::uint8_t>(row);
  std::vector<float> sizes;
  sizes.reserve(static_cast<std::size_t>(mean_.cols / kNoiseStep_px) + 1);
  for (int column = 0; column < mean_.cols; column += kNoiseStep_px) {
    if (looks[column] < kTrustedLooks) continue;
    sizes.push_back(std::abs(static_cast<float>(frame.gray_at(column, row)) - mean[column]));
  }
  if (sizes.size() < kFewestSamples) return;
  const double noise = calibration::scatter_of(std::move(sizes));
  noise_frames_ = std::min(noise_frames_ + 1, kNoiseMemory);
  noise_ += (noise - noise_) / noise_frames_;
}

void WallLight::learn_rows(const Picture& frame,
                           const std::array<cv::Rect, 2>& zones,
                           int first,
                           int end) {
  const float least = std::max(kChange, static_cast<float>(kChange_noises * noise_));
  cv::Mat luma;
  for (int row = first; row < end; ++row) {
    const int within = (row - first) % kRows;
    if (within == 0) luma = frame.gray({0, row, mean_.cols, std::min(kRows, end - row)});
    const WallRun pixels{luma.ptr<std::uint8_t>(within),
                         mean_.ptr<float>(row),
                         looks_.ptr<std::uint8_t>(row),
                         strange_.ptr<std::int8_t>(row),
                         mean_.cols};
    int left = 0;
    for (const cv::Rect& zone : zones) {
      if (row < zone.y || row >= zone.y + zone.height) continue;
      learn_pixels(pixels, left, zone.x, least);
      left = std::max(left, zone.x + zone.width);
    }
    learn_pixels(pixels, left, mean_.cols, least);
  }
}

void WallLight::forget() {
  if (!looks_.empty()) {
    looks_.setTo(0);
    strange_.setTo(0);
  }
  frames_ = 0;
}

WallLight::Change WallLight::change_in(const Picture& frame, const cv::Rect& spot_zone) const {
  if (mean_.empty()) return {};
  const int step_px = sample_step_px(mean_.size());
  int samples = 0;
  int changed = 0;
  double drift = 0;
  for (int row = step_px / 2; row < mean_.rows; row += step_px) {
    const auto* mean = mean_.ptr<float>(row);
    const auto* looks = looks_.ptr<std::uint8_t>(row);
    for (int column = step_px / 2; column < mean_.cols; column += step_px) {
      if (looks[column] == 0 || spot_zone.contains({column, row})) continue;
      const float now = static_cast<float>(frame.gray_at(column, row));
      ++samples;
      if (is_strange(now, mean[column], kChange)) {
        ++changed;
      } else {
        drift += static_cast<double>(now - mean[column]);
      }
    }
  }
  if (samples < kFewestSamples) return {};
  if (changed > kChangedShare * samples) return {.sudden = true};
  return {.drift = drift / (samples - changed)};
}

void WallLight::follow(double drift) {
  if (std::abs(drift) > kFollowed) mean_ += drift;
}

bool WallLight::is_known(double x_px, double y_px) const {
  if (looks_.empty()) return false;
  const int column = std::clamp(static_cast<int>(std::lround(x_px)), 0, looks_.cols - 1);
  const int row = std::clamp(static_cast<int>(std::lround(y_px)), 0, looks_.rows - 1);
  return looks_.at<std::uint8_t>(row, column) >= kTrustedLooks;
}

void WallLight::prepare(SpotPatch& patch) const {
  if (mean_.empty()) return;
  const cv::Rect area = area_of(patch);
  const cv::Mat mean = mean_(area);
  const cv::Mat looks = looks_(area);
  const auto size = static_cast<double>(area.area());
  const int step_px =
      std::max(kPlaneStep_px, static_cast<int>(std::ceil(std::sqrt(size / kPlanePlaces))));
  const std::vector<KnownPixel> pixels = known_pixels(mean, looks, step_px);
  if (static_cast<double>(pixels.size()) < kFewestKnown * size / (step_px * step_px)) return;
  const WallPlane plane = plain_wall(pixels);
  Eigen::ArrayXf middle_levels(area.width);
  for (int column = 0; column < area.width; ++column) {
    middle_levels(column) = static_cast<float>(plane.at(place_in(column, area.width), 0.0));
  }
  Eigen::ArrayXf excess(area.width);
  for (int row = 0; row < area.height; ++row) {
    const PlaneRow wall{middle_levels.data(),
                        static_cast<float>(plane.slope_y * place_in(row, area.height)),
                        mean.ptr<float>(row),
                        looks.ptr<std::uint8_t>(row)};
    if (compare_with_plane(wall, excess.data(), area.width) == 0) {
      patch.counts.col(row) -= excess.cast<double>();
      continue;
    }
    for (int column = 0; column < area.width; ++column) {
      const float level = middle_levels(column) + wall.rise;
      if (is_dark(level, excess(column))) {
        patch.reflectance(column, row) =
            std::max(static_cast<double>(wall.mean[column] / level), kLeastReflectance);
      } else {
        patch.counts(column, row) -= static_cast<double>(excess(column));
      }
    }
  }
}

}  // namespace nightswing::tracker
