#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "tracker/camera/device_calls.h"

namespace nightswing::test {

/// A V4L2 camera made of what the kernel's documentation says of one (Linux Media Infrastructure
/// userspace API, Video for Linux), behind the system calls. Not thread-safe.
class FakeDevice {
 public:
  struct Mode {
    std::uint32_t pixel_format;
    int width_px;
    int height_px;
    std::vector<int> rates_Hz;
  };
  struct Control {
    int minimum;
    int maximum;
    int value;
    bool settable = true;
  };

  std::string card = "Test Camera";
  bool gives_pictures = true;  ///< false: the metadata device of a UVC camera
  std::vector<Mode> modes;
  std::map<std::uint32_t, Control> controls;  ///< by id
  int stream_on_fault = 0;                    ///< errno of VIDIOC_STREAMON
  bool unplugged = false;
  bool may_be_opened = true;              ///< by this user
  std::uint32_t timestamp_flag = 0x2000;  ///< V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC

  /// A picture is taken by the device at that moment of the monotonic clock; dropped if no buffer
  /// is free, as devices do.
  void take_picture(const std::vector<std::uint8_t>& bytes,
                    double monotonic_s,
                    bool damaged = false);

  // what has been asked of it
  int opened = 0;
  int closed = 0;
  bool streaming = false;
  std::uint32_t pixel_format = 0;
  int width_px = 0;
  int height_px = 0;
  int rate_Hz = 0;
  std::vector<std::pair<std::uint32_t, int>> set;  ///< controls, in order
  int mapped = 0;                                  ///< buffers mapped and not unmapped

  /// The call `ioctl` on this device; -1 and errno as the kernel does it.
  int ioctl(unsigned long request, void* argument);
  int wait(int timeout_ms);
  void* map(std::size_t length, off_t offset);
  void unmap();

 private:
  struct Buffer {
    std::vector<std::uint8_t> bytes;
    bool queued = false;
    std::size_t used = 0;
    double monotonic_s = 0.0;
    bool damaged = false;
  };

  int enumerate_format(void* argument);
  int enumerate_size(void* argument);
  int enumerate_interval(void* argument);
  int set_format(void* argument);
  int set_rate(void* argument);
  int get_rate(void* argument);
  int request_buffers(void* argument);
  int query_buffer(void* argument);
  int queue_buffer(void* argument);
  int dequeue_buffer(void* argument);
  int query_control(void* argument);
  int get_control(void* argument);
  int set_control(void* argument);

  std::vector<Buffer> buffers_;
  std::deque<std::uint32_t> free_;
  std::deque<std::uint32_t> filled_;
};

/// Calls that lead to the devices of these paths; every other path is not there (ENOENT).
[[nodiscard]] tracker::DeviceCalls calls_to(std::map<std::string, FakeDevice*> devices);

/// A picture of one colour in YUYV: luma as given, no colour.
[[nodiscard]] std::vector<std::uint8_t> yuyv(const cv::Mat& gray);

}  // namespace nightswing::test
