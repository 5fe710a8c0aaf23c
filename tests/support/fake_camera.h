#pragma once

#include <condition_variable>
#include <deque>
#include <memory>
#include <mutex>
#include <optional>

#include "tests/support/fake_clock.h"
#include "tracker/camera/frame_grabber.h"

namespace nightswing::test {

/// A camera that shows what it is told to, when it is told to. May be used by two threads: the test
/// and the grabber.
class FakeCamera {
 public:
  explicit FakeCamera(FakeClock& clock, cv::Size size = {160, 120}) : clock_(clock), size_(size) {}

  /// Shows a picture taken now; returns when the grabber has taken it, or nobody watches any more.
  void show(const cv::Mat& picture);
  /// The camera is unplugged and cannot be opened, until `plug_in`.
  void unplug();
  void plug_in(cv::Size size);
  void watched(bool by_somebody);
  void change_setting(const std::string& value);
  /// Waits until it has been tried to open it so often in all.
  void await_openings(int count);
  /// The same, counted from now.
  void await_more_openings(int count);
  /// Waits until the grabber looks for a picture for so many more times.
  void await_grabs(int count);

  [[nodiscard]] tracker::OpenCamera opener();

 private:
  class Opened;
  struct Shown {
    cv::Mat picture;
    double steady_s;
  };

  FakeClock& clock_;
  std::mutex mutex_;
  std::condition_variable changed_;
  cv::Size size_;
  bool plugged_in_ = true;
  bool watched_ = true;
  int openings_ = 0;
  long grabs_ = 0;
  int age_ = 0;  // grows with each unplugging: what was opened before is gone
  std::optional<Shown> shown_;
  std::string exposure_ = "20 ms";
};

}  // namespace nightswing::test
