#pragma once

#include <atomic>
#include <chrono>
#include <mutex>
#include <string>
#include <thread>

#include <opencv2/core.hpp>

#include "tests/support/served_stream.h"

namespace nightswing::test {

/// Shows a spot that swings on a wall with texture, picture after picture, in a thread of its own.
class NightCamera {
 public:
  /// stream     must outlive this
  /// interval   real time between two pictures
  NightCamera(ServedStream& stream, cv::Size size, std::chrono::milliseconds interval);
  ~NightCamera();
  NightCamera(const NightCamera&) = delete;
  NightCamera& operator=(const NightCamera&) = delete;

  /// Where the spot of picture k is; also between two pictures.
  [[nodiscard]] static cv::Point2d spot_px(double k, cv::Size size);
  /// Picture k, 8-bit BGR with a camera's noise, the same at each call.
  [[nodiscard]] static cv::Mat picture(long k, cv::Size size);

  void stop_showing() { shows_ = false; }
  void show_again() { shows_ = true; }
  /// Bytes that are no picture, at the pace of pictures, until others or none (empty) are given.
  void send_instead(std::string bytes);
  [[nodiscard]] long shown() const { return shown_; }

 private:
  void run();

  ServedStream& stream_;
  cv::Size size_;
  std::chrono::milliseconds interval_;
  std::atomic<bool> shows_ = true;
  std::atomic<bool> ends_ = false;
  std::atomic<long> shown_ = 0;
  std::mutex mutex_;
  std::string instead_;
  std::thread thread_;
};

}  // namespace nightswing::test
