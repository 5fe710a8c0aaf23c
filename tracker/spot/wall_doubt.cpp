#include "tracker/spot/wall_doubt.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>
#include <vector>

#include <Eigen/Cholesky>

#include "calibration/map/median.h"
#include "tracker/spot/spot_adjustment.h"

namespace nightswing::tracker {
namespace {

constexpr double kLeastUnknown = 0.05;  // share of the pixels
constexpr double kMostUnknown = 0.05;   // of a place to compare with
constexpr std::size_t kFewestCompared = 4;

double unknown_share(const WallLight& wall, const cv::Rect& area) {
  return cv::mean(wall.looks()(area) < WallLight::kTrustedLooks)[0] / 255.0;
}

/// By how much the spot would be measured in another place on that part of the wall: the first step
/// of the fit, because what the wall adds to the spot's light is little.
/// plain  the spot as it was fitted, on a plain wall
/// model  of it, with that noise
cv::Point2d displacement_px(const SpotPatch& plain,
                            const SpotModel& model,
                            SpotNoise noise,
                            const cv::Mat& wall) {
  cv::Scalar level;
  cv::Scalar grain;
  cv::meanStdDev(wall, level, grain);
  SpotPatch patch = plain;
  for (int row = 0; row < wall.rows; ++row) {
    const auto* luma = wall.ptr<float>(row);
    for (int column = 0; column < wall.cols; ++column) {
      patch.counts(column, row) += static_cast<double>(luma[column]) - level[0];
    }
  }
  noise.background = std::max(noise.background, grain[0] * grain[0]);  // as a fit would find it
  const PatchComparison c = compare(patch, model, certainty_on(patch, model, noise));
  const ShapeVector step =
      information_of(c.model, c.weight).ldlt().solve(c.model.gradient(c.weight * c.residual));
  return {step(1), step(3)};
}

double deviation_of(std::vector<double> sizes) {
  return calibration::scatter_of(std::move(sizes));
}

}  // namespace

std::optional<WallDoubt> doubt_of_grain(const SpotPatch& patch,
                                        const SpotFit& fit,
                                        const WallLight& wall) {
  if (wall.looks().empty()) return std::nullopt;
  const cv::Rect frame({0, 0}, wall.looks().size());
  const cv::Rect here = area_of(patch);
  SpotPatch plain = patch;
  plain.reflectance.setOnes();
  const SpotModel model(plain, fit.shape);
  plain.counts = model.counts();
  std::vector<double> off_x_px;
  std::vector<double> off_y_px;
  const std::array<cv::Point, 8> steps{
      {{-1, 0}, {1, 0}, {-2, 0}, {2, 0}, {-3, 0}, {3, 0}, {0, -1}, {0, 1}}};
  for (const cv::Point& step : steps) {
    const cv::Rect there = here + cv::Point(step.x * here.width, step.y * here.height);
    if ((there & frame) != there || unknown_share(wall, there) > kMostUnknown) continue;
    const cv::Point2d off_px = displacement_px(plain, model, fit.noise, wall.mean()(there));
    if (!std::isfinite(off_px.x + off_px.y)) continue;
    off_x_px.push_back(std::abs(off_px.x));
    off_y_px.push_back(std::abs(off_px.y));
  }
  if (off_x_px.size() < kFewestCompared) return std::nullopt;
  return WallDoubt{deviation_of(off_x_px), deviation_of(off_y_px)};
}

std::optional<WallDoubt> doubt_of_wall(const SpotPatch& patch,
                                       const SpotFit& fit,
                                       const WallLight& wall) {
  if (wall.looks().empty()) return std::nullopt;
  const double unknown = unknown_share(wall, area_of(patch));
  if (unknown < kLeastUnknown) return WallDoubt{};
  const auto grain = doubt_of_grain(patch, fit, wall);
  if (!grain) return std::nullopt;
  const double part = std::sqrt(unknown);
  return WallDoubt{part * grain->x_px, part * grain->y_px};
}

}  // namespace nightswing::tracker
