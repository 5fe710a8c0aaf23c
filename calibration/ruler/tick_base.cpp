#include "calibration/ruler/tick_base.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include <Eigen/Dense>

#include "calibration/map/median.h"
#include "calibration/map/robust_fit.h"
#include "calibration/ruler/tick_lengths.h"

namespace nightswing::calibration {
namespace {

constexpr int kBaseBlock = 12;  // ticks
constexpr int kLeastBlocks = 5;
constexpr int kRounds = 3;
constexpr double kBaseHalfWeight_px = 0.5;  // of the base of a block, off the edge

/// Median depth of some ticks by row, smoothed over three rows.
std::vector<double> depth_profile(const cv::Mat& depths, cv::Range ticks) {
  std::vector<double> medians;
  for (int r = 0; r < depths.rows; ++r) {
    std::vector<double> values;
    for (int i = ticks.start; i < ticks.end; ++i) {
      const double depth = static_cast<double>(depths.at<float>(r, i));
      values.push_back(std::isnan(depth) ? 0.0 : depth);
    }
    medians.push_back(upper_median_of(std::move(values)));
  }
  std::vector<double> smooth = medians;
  for (std::size_t r = 1; r + 1 < medians.size(); ++r) {
    smooth[r] = (medians[r - 1] + 2.0 * medians[r] + medians[r + 1]) / 4.0;
  }
  return smooth;
}

/// The row where the depth falls to half of that of the short ticks, on the way from their middle
/// to their base; none if they are not there.
std::optional<double> half_depth_row(const std::vector<double>& profile,
                                     double base_row,
                                     double short_end_row,
                                     double usual_depth) {
  const int step = base_row < short_end_row ? -1 : 1;
  int r = cvRound((base_row + short_end_row) / 2.0);
  const int last = static_cast<int>(profile.size()) - 1;
  if (r < 1 || r > last - 1) return std::nullopt;
  const auto at = [&profile](int row) { return profile[static_cast<std::size_t>(row)]; };
  const double depth = std::max({at(r - 1), at(r), at(r + 1)});
  if (depth < 0.4 * usual_depth) return std::nullopt;
  while (r > 0 && r < last && at(r) > depth / 2.0) r += step;
  if (r == 0 || r == last) return std::nullopt;
  const double inside = at(r - step);
  const double outside = at(r);
  if (!(inside > outside)) return std::nullopt;
  return r - step * std::clamp((depth / 2.0 - outside) / (inside - outside), 0.0, 1.0);
}

struct BasePlaces {
  std::vector<double> s_px;
  std::vector<double> off_px;  // of the base, in t
};

BasePlaces find_base(const cv::Mat& values, const TickPattern& pattern) {
  const TickGrid& grid = pattern.grid;
  const double length_px = std::abs(pattern.end_h_px.front() - pattern.base_h_px);
  const int reach_px =
      cvCeil(std::max(std::abs(pattern.base_h_px), std::abs(pattern.end_h_px.front())) +
             2.0 * length_px + 4.0);
  const cv::Mat rows = straightened(values, grid, reach_px, kSamplesPerDivision);
  const cv::Mat depths = stroke_depths(rows, pattern.polarity);
  const auto all = depth_profile(depths, {0, depths.cols});
  const double base_row = pattern.base_h_px + reach_px;
  const double short_end_row = pattern.end_h_px.front() + reach_px;
  const auto middle = static_cast<std::size_t>(cvRound((base_row + short_end_row) / 2.0));
  BasePlaces places;
  for (int first = 0; first + kBaseBlock <= grid.count(); first += kBaseBlock / 2) {
    const auto row = half_depth_row(
        depth_profile(depths, {first, first + kBaseBlock}), base_row, short_end_row, all[middle]);
    if (!row) continue;
    const double x = grid.first() + first + (kBaseBlock - 1) / 2.0;
    places.s_px.push_back(grid.s_px(x));
    places.off_px.push_back((*row - base_row) * grid.t_per_h(x));
  }
  return places;
}

/// Robust polynomial of second degree: constant, per px, per px2.
Eigen::Vector3d robust_parabola(const BasePlaces& places) {
  const auto count = static_cast<Eigen::Index>(places.s_px.size());
  Eigen::MatrixXd rows(count, 3);
  Eigen::VectorXd off(count);
  for (Eigen::Index i = 0; i < count; ++i) {
    const auto k = static_cast<std::size_t>(i);
    rows.row(i) << 1.0, places.s_px[k], places.s_px[k] * places.s_px[k];
    off[i] = places.off_px[k];
  }
  return robust_solution(rows, off, {.half_weight = kBaseHalfWeight_px});
}

}  // namespace

TickPattern with_exact_base(const cv::Mat& values, const TickPattern& pattern) {
  TickPattern result = pattern;
  for (int round = 0; round < kRounds; ++round) {
    const BasePlaces places = find_base(values, result);
    if (static_cast<int>(places.s_px.size()) < kLeastBlocks) return result;
    const Eigen::Vector3d off = robust_parabola(places);
    StrokeBand band = result.grid.band();
    band.edge_per_px += off[1];
    band.edge_per_px2 += off[2];
    result.grid = result.grid.with_band(band);
    result.base_h_px += off[0];
  }
  return result;
}

}  // namespace nightswing::calibration
