#include "tracker/aim/aim_window.h"

#include <cstdlib>

#include <opencv2/highgui.hpp>

namespace nightswing::tracker {
namespace {

constexpr const char* kName = "nightswing aim";
constexpr int kEscape = 27;

bool is_set(const char* variable) {
  const char* value = std::getenv(variable);
  return value != nullptr && *value != '\0';
}

}  // namespace

bool has_display() {
  return is_set("DISPLAY") || is_set("WAYLAND_DISPLAY");
}

AimWindow::AimWindow() = default;

AimWindow::~AimWindow() {
  if (is_open_) cv::destroyWindow(kName);
}

bool AimWindow::show(const cv::Mat& picture) {
  if (!is_open_)
    cv::namedWindow(kName, cv::WINDOW_NORMAL | cv::WINDOW_KEEPRATIO | cv::WINDOW_GUI_NORMAL);
  if (!is_open_) cv::resizeWindow(kName, picture.cols, picture.rows);
  is_open_ = true;
  cv::imshow(kName, picture);
  const int key = cv::waitKey(1) & 0xff;
  const bool closed = cv::getWindowProperty(kName, cv::WND_PROP_VISIBLE) < 1.0;
  return key != 'q' && key != kEscape && !closed;
}

}  // namespace nightswing::tracker
