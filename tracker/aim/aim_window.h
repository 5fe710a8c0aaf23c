#pragma once

#include <memory>
#include <optional>

#include <opencv2/core.hpp>

namespace nightswing::tracker {

/// Whether there is a display to put a window on. Without one, opening a window ends the program
/// (OpenCV with Qt), so this is asked first.
[[nodiscard]] bool has_display();

/// A window for the picture while a camera is set up; the only place that knows windows. All of it
/// in the main thread.
class AimWindow {
 public:
  AimWindow();
  ~AimWindow();
  AimWindow(const AimWindow&) = delete;
  AimWindow& operator=(const AimWindow&) = delete;

  /// Shows it; false when the window was closed, or q or Esc was pressed.
  [[nodiscard]] bool show(const cv::Mat& picture);

 private:
  bool is_open_ = false;
};

}  // namespace nightswing::tracker
