#pragma once

#include <cstdint>
#include <random>
#include <vector>

#include <opencv2/core.hpp>

#include "demo_video/night_settings.h"

namespace nightswing::demo {

/// What the sensor makes of the light: normal noise of variance read^2 + signal / electrons per DN
/// [DN^2] in each pixel and plane, then rounding and clipping to 0..255.
/// The normal numbers come from a table of 2^20, entered at a random place for each row: within a
/// row they are independent; over a night they repeat, which no position can feel.
class CameraNoise {
 public:
  CameraNoise(const Camera& camera, std::uint64_t seed);

  /// light  CV_32FC3 [DN].  returns  CV_8UC3.
  [[nodiscard]] cv::Mat expose(const cv::Mat& light);

 private:
  float read_variance_;
  float variance_per_dn_;
  std::mt19937_64 random_;
  std::vector<float> normal_;
};

}  // namespace nightswing::demo
