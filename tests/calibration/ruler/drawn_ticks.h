#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include <opencv2/core.hpp>

#include "calibration/ruler/tick_pattern.h"

/// Rows of dark strokes written down from a formula, seen straight on: the inside of the ruler
/// reader can be tested on them step by step, with every place known exactly.
namespace nightswing::test {

/// Stroke i crosses the edge at x = first_px + i division_px, y = edge_px. It runs downwards, and
/// by `lean` px to the right for each px down; across it is a Gaussian, its ends are blurred alike.
struct DrawnTicks {
  cv::Size size{640, 160};
  double first_px = 30.4;
  double division_px = 8.0;
  int count = 70;
  double edge_px = 50.3;
  double edge_slope = 0.0;  ///< px down for each px to the right, about x = 0
  double lean = 0.0;
  double sigma_px = 1.1;
  double depth = 120.0;
  std::array<double, 3> lengths_px{20.0, 28.0, 38.0};  ///< others, every 5th, every 10th
};

/// How far the grid's h = 0 lies below the edge.
inline constexpr double kGridDown_px = 8.0;

inline double drawn_length_px(const DrawnTicks& ticks, int i) {
  return ticks.lengths_px[i % 10 == 0 ? 2 : i % 5 == 0 ? 1 : 0];
}

inline double drawn_edge_px(const DrawnTicks& ticks, int i) {
  return ticks.edge_px + ticks.edge_slope * (ticks.first_px + i * ticks.division_px);
}

/// CV_32F, 200 gray values where there is no ink.
inline cv::Mat draw(const DrawnTicks& ticks) {
  cv::Mat values(ticks.size, CV_32F, cv::Scalar(200.0));
  const auto step = [&](double px) {
    return 0.5 * std::erfc(-px / (std::sqrt(2.0) * ticks.sigma_px));
  };
  for (int i = 0; i < ticks.count; ++i) {
    const double edge_px = drawn_edge_px(ticks, i);
    const double end_px = edge_px + drawn_length_px(ticks, i);
    for (int y = 0; y < values.rows; ++y) {
      const double ink = step(y - edge_px) * step(end_px - y);
      const double x_px = ticks.first_px + i * ticks.division_px + ticks.lean * (y - ticks.edge_px);
      for (int x = std::max(0, static_cast<int>(x_px - 8.0));
           x < std::min(values.cols, static_cast<int>(x_px + 9.0));
           ++x) {
        const double z = (x - x_px) / ticks.sigma_px;
        values.at<float>(y, x) -= static_cast<float>(ticks.depth * ink * std::exp(-0.5 * z * z));
      }
    }
  }
  return values;
}

/// The same light with a gray value of noise, as every camera adds.
inline cv::Mat photographed(const cv::Mat& light) {
  cv::Mat noise(light.size(), CV_32F);
  cv::RNG random(12);
  random.fill(noise, cv::RNG::NORMAL, 0.0, 1.0);
  return light + noise;
}

/// The band along the edge, moved down by down_px, with s = x.
inline calibration::StrokeBand drawn_band(const DrawnTicks& ticks, double down_px) {
  return {.origin = {ticks.lean * down_px, ticks.edge_px + down_px},
          .along = {1.0, 0.0},
          .lean = ticks.lean,
          .edge_per_px = ticks.edge_slope,
          .from_px = ticks.first_px,
          .to_px = ticks.first_px + (ticks.count - 1) * ticks.division_px};
}

/// The comb whose whole numbers are the strokes, from a quarter of a division before the first.
inline calibration::TickComb drawn_comb(const DrawnTicks& ticks) {
  const double length_px = (ticks.count - 1) * ticks.division_px;
  return {.centre_px = ticks.first_px + 0.5 * length_px,
          .half_span_px = 0.5 * length_px,
          .a = 0.5 * (ticks.count - 1),
          .b = 0.5 * (ticks.count - 1),
          .from_px = ticks.first_px - 0.25 * ticks.division_px,
          .to_px = ticks.first_px + length_px + 0.25 * ticks.division_px,
          .strength = 1.0};
}

inline calibration::TickGrid drawn_grid(const DrawnTicks& ticks, double down_px) {
  return {drawn_band(ticks, down_px), drawn_comb(ticks), 1.0, 0.0};
}

/// What the pattern of these strokes is, in a grid whose h = 0 lies down_px below the edge.
inline calibration::TickPattern drawn_pattern(const DrawnTicks& ticks, double down_px) {
  calibration::TickPattern pattern{.division = calibration::Division::kMillimetre,
                                   .grid = drawn_grid(ticks, down_px),
                                   .polarity = 1,
                                   .base_h_px = -down_px,
                                   .end_h_px = {},
                                   // The area of a Gaussian over its height is sqrt(2 pi) sigma.
                                   .width = 2.5066282746 * ticks.sigma_px / ticks.division_px};
  for (const double length_px : ticks.lengths_px) {
    pattern.end_h_px.push_back(pattern.base_h_px + length_px);
  }
  return pattern;
}

}  // namespace nightswing::test
