#include "tracker/spot/wall_doubt.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <vector>

namespace nightswing::tracker {
namespace {

constexpr double kLeastUnknown = 0.05;  // share of the pixels
constexpr double kMostUnknown = 0.05;   // of a place to compare with
constexpr std::size_t kFewestPlaces = 4;
constexpr double kNormalMedian = 0.6745;  // of the size, in standard deviations

double unknown_share(const WallLight& wall, const cv::Rect& area) {
  return cv::mean(wall.looks()(area) < WallLight::kTrustedLooks)[0] / 255.0;
}

/// The fit of the same spot on another part of the wall.
SpotFit fit_on(const SpotPatch& patch, const SpotFit& fit, const cv::Mat& wall) {
  SpotPatch moved = patch;
  moved.reflectance.setOnes();
  moved.counts = SpotModel(moved, fit.shape).counts();
  const double level = cv::mean(wall)[0];
  for (int row = 0; row < wall.rows; ++row) {
    const auto* luma = wall.ptr<float>(row);
    for (int column = 0; column < wall.cols; ++column) {
      moved.counts(column, row) += static_cast<double>(luma[column]) - level;
    }
  }
  SpotFitStart start = start_at(fit);
  start.form_is_known = true;
  return fit_spot(moved, start);
}

double deviation_of(std::vector<double> sizes) {
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::nth_element(sizes.begin(), middle, sizes.end());
  return *middle / kNormalMedian;
}

}  // namespace

WallDoubt doubt_of_wall(const SpotPatch& patch, const SpotFit& fit, const WallLight& wall) {
  if (wall.looks().empty()) return {};
  const cv::Rect frame({0, 0}, wall.looks().size());
  const cv::Rect here(patch.left_px,
                      patch.top_px,
                      static_cast<int>(patch.columns()),
                      static_cast<int>(patch.rows()));
  const double unknown = unknown_share(wall, here);
  if (unknown < kLeastUnknown) return {};
  std::vector<double> off_x_px;
  std::vector<double> off_y_px;
  const std::array<cv::Point, 8> steps{
      {{-1, 0}, {1, 0}, {-2, 0}, {2, 0}, {-3, 0}, {3, 0}, {0, -1}, {0, 1}}};
  for (const cv::Point& step : steps) {
    const cv::Rect there = here + cv::Point(step.x * here.width, step.y * here.height);
    if ((there & frame) != there || unknown_share(wall, there) > kMostUnknown) continue;
    const SpotFit moved = fit_on(patch, fit, wall.mean()(there));
    if (!moved.converged) continue;
    off_x_px.push_back(std::abs(moved.shape.x_px - fit.shape.x_px));
    off_y_px.push_back(std::abs(moved.shape.y_px - fit.shape.y_px));
  }
  if (off_x_px.size() < kFewestPlaces) return {};
  const double part = std::sqrt(unknown);
  return {part * deviation_of(off_x_px), part * deviation_of(off_y_px)};
}

}  // namespace nightswing::tracker
