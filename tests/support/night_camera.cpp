#include "tests/support/night_camera.h"

#include <cmath>
#include <numbers>
#include <utility>

#include <opencv2/imgproc.hpp>

namespace nightswing::test {
namespace {

constexpr double kPeriod_pictures = 150.0;

/// A wall with stains, always the same.
cv::Mat wall(cv::Size size) {
  cv::RNG random(7);
  cv::Mat light(size, CV_32F, cv::Scalar(45.0));
  for (int k = 0; k < 150; ++k) {
    const cv::Point place(random.uniform(0, size.width), random.uniform(0, size.height));
    cv::circle(light, place, random.uniform(1, 4), random.uniform(8, 25), -1, cv::LINE_AA);
  }
  cv::GaussianBlur(light, light, {0, 0}, 0.8);
  return light;
}

}  // namespace

NightCamera::NightCamera(ServedStream& stream, cv::Size size, std::chrono::milliseconds interval)
    : stream_(stream), size_(size), interval_(interval), thread_([this] { run(); }) {}

NightCamera::~NightCamera() {
  ends_ = true;
  thread_.join();
}

cv::Point2d NightCamera::spot_px(double k, cv::Size size) {
  const double phase = 2.0 * std::numbers::pi * k / kPeriod_pictures;
  return {(0.5 + 0.3 * std::cos(phase)) * size.width, 0.5 * size.height};
}

cv::Mat NightCamera::picture(long k, cv::Size size) {
  static const cv::Mat bare = wall(size);
  cv::Mat light = (bare.size() == size ? bare : wall(size)).clone();
  const cv::Point2d spot = spot_px(static_cast<double>(k), size);
  constexpr double kSigma_px = 3.0;
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double r2 = (x - spot.x) * (x - spot.x) + (y - spot.y) * (y - spot.y);
      if (r2 > 36.0 * kSigma_px * kSigma_px) continue;
      light.at<float>(y, x) += static_cast<float>(140.0 * std::exp(-0.5 * r2 / 9.0));
    }
  }
  cv::RNG random(static_cast<std::uint64_t>(k) + 1);
  cv::Mat noise(size, CV_32F);
  random.fill(noise, cv::RNG::NORMAL, 0.0, 1.5);
  light += noise;
  cv::Mat gray;
  light.convertTo(gray, CV_8U);
  cv::Mat colour;
  cv::cvtColor(gray, colour, cv::COLOR_GRAY2BGR);
  return colour;
}

void NightCamera::send_instead(std::string bytes) {
  const std::lock_guard lock(mutex_);
  instead_ = std::move(bytes);
}

void NightCamera::run() {
  auto next = std::chrono::steady_clock::now();
  for (long k = 0; !ends_; ++k) {
    std::string instead;
    {
      const std::lock_guard lock(mutex_);
      instead = instead_;
    }
    if (!instead.empty()) {
      stream_.show_bytes(instead);
    } else if (shows_) {
      stream_.show(picture(k, size_));
      ++shown_;
    }
    // A camera keeps its pace; nothing in a test waits for this.
    next += interval_;
    std::this_thread::sleep_until(next);
  }
}

}  // namespace nightswing::test
