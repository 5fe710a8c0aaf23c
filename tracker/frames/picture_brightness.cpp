#include "tracker/frames/picture_brightness.h"

#include <algorithm>
#include <array>

#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {

double gain_to_light_gray(const cv::Mat& picture) {
  constexpr double kLightGray = 170.0;
  cv::Mat gray;
  cv::cvtColor(picture, gray, cv::COLOR_BGR2GRAY);
  std::array<long, 256> counts{};
  for (int y = 0; y < gray.rows; ++y) {
    for (int x = 0; x < gray.cols; ++x) ++counts[gray.at<unsigned char>(y, x)];
  }
  const long percent = static_cast<long>(gray.total()) / 100;
  long above = 0;
  std::size_t level = 255;
  while (level > 1 && above + counts[level] <= percent) above += counts[level--];
  return std::max(1.0, kLightGray / static_cast<double>(level));
}

}  // namespace nightswing::tracker
