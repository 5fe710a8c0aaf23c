#pragma once

#include <map>
#include <utility>

#include <opencv2/core.hpp>

#include "demo_video/night_settings.h"

namespace nightswing::demo {

/// The wall without the spot through the night, as the camera sees it while its mount moves.
/// A creeping picture is mixed from two exact ones at most 0.25 px apart. The place of an edge in
/// the mixture is off by less than 2e-4 px (the phase of a two-tap interpolation), and it is
/// blurred by at most d^2/4 = 0.016 px^2, a fifth of what the pixel itself does.
class WallFilm {
 public:
  explicit WallFilm(const NightSettings& settings) : settings_(settings) {}

  /// returns CV_32FC3 as render_wall, with the fixed reflection in it.
  [[nodiscard]] cv::Mat light_at(double t_s);

 private:
  const cv::Mat& exact(int step, bool bumped);

  NightSettings settings_;
  std::map<std::pair<bool, int>, cv::Mat> exact_;  // the two last used
};

}  // namespace nightswing::demo
