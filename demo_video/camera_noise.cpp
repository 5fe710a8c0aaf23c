#include "demo_video/camera_noise.h"

#include <algorithm>
#include <cmath>

#include "demo_video/random_stream.h"

namespace nightswing::demo {

CameraNoise::CameraNoise(const Camera& camera, std::uint64_t seed)
    : read_variance_(static_cast<float>(camera.read_noise_dn * camera.read_noise_dn)),
      variance_per_dn_(static_cast<float>(1 / camera.electrons_per_dn)),
      random_(random_stream(seed, Chance::kCamera)),
      normal_(std::size_t{1} << 20) {
  std::normal_distribution<float> normal;
  std::generate(normal_.begin(), normal_.end(), [&] { return normal(random_); });
}

cv::Mat CameraNoise::expose(const cv::Mat& light) {
  CV_Assert(light.type() == CV_32FC3);
  cv::Mat picture(light.size(), CV_8UC3);
  const std::size_t count = static_cast<std::size_t>(light.cols) * 3;
  std::uniform_int_distribution<std::size_t> start(0, normal_.size() - count);
  for (int y = 0; y < light.rows; ++y) {
    const float* mean = light.ptr<float>(y);
    const float* noise = normal_.data() + start(random_);
    unsigned char* out = picture.ptr<unsigned char>(y);
    for (std::size_t i = 0; i < count; ++i) {
      const float sigma = std::sqrt(read_variance_ + variance_per_dn_ * mean[i]);
      const float value = mean[i] + sigma * noise[i];
      out[i] = static_cast<unsigned char>(std::clamp(value + 0.5F, 0.0F, 255.0F));
    }
  }
  return picture;
}

}  // namespace nightswing::demo
