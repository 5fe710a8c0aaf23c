#pragma once

#include <algorithm>
#include <cmath>

#include <opencv2/core.hpp>

namespace nightswing::tracker {

/// Distance between the rows and columns of a grid of places that speaks for a whole picture: about
/// a thousand places, as many as a share of them is worth, since each costs a fetch from memory.
/// A whole number of macroblocks (16 px) of lossy film, so that all places lie alike in theirs.
[[nodiscard]] inline int sample_step_px(cv::Size picture) {
  constexpr double kPlaces = 1000.0;
  constexpr int kMacroblock_px = 16;
  const double step_px = std::sqrt(static_cast<double>(picture.width) * picture.height / kPlaces);
  return kMacroblock_px * std::max(1, static_cast<int>(std::lround(step_px / kMacroblock_px)));
}

}  // namespace nightswing::tracker
