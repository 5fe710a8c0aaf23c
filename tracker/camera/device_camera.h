#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tracker/camera/camera.h"
#include "tracker/camera/camera_list.h"
#include "tracker/camera/camera_settings.h"
#include "tracker/camera/clock.h"
#include "tracker/camera/device_calls.h"
#include "tracker/camera/device_format.h"
#include "tracker/camera/jpeg_decoder.h"

namespace nightswing::tracker {

/// A camera at this computer through V4L2, without a library between: settings are set before the
/// first picture and read back; a picture has the time that the driver gave it when it was taken;
/// of pictures that wait in the driver's buffers only the newest is given.
///   source  Linux Media Infrastructure userspace API, Video for Linux: streaming I/O (memory
///           mapping), struct v4l2_buffer
class DeviceCamera : public Camera {
 public:
  /// `clock` must outlive the camera.
  /// throws InputError if the device cannot be opened, is used by another program, or cannot be set
  ///        as asked.
  DeviceCamera(const ListedCamera& listed,
               const CameraSettings& settings,
               const Clock& clock,
               DeviceCalls calls);
  ~DeviceCamera() override;

  [[nodiscard]] Grab grab(std::chrono::milliseconds patience, const GiveUp& gives_up) override;
  [[nodiscard]] double grabbed_steady_s() const override { return grabbed_steady_s_; }
  [[nodiscard]] bool retrieve(cv::Mat& picture) override;
  [[nodiscard]] const CameraFacts& facts() const override { return facts_; }
  [[nodiscard]] std::vector<CameraSetting> settings() override;
  [[nodiscard]] const std::string& fault() const override { return fault_; }

 private:
  struct Memory {
    void* bytes;
    std::size_t length;
  };
  struct Filled {
    std::uint32_t index;
    std::size_t size;
  };

  void begin_streaming(const std::string& path);
  void end_streaming();
  [[nodiscard]] bool give_back(std::uint32_t index);
  [[nodiscard]] Grab gone(const std::string& what);
  /// Takes one picture from the driver: kNothing if none waits, kDamaged if the driver says so.
  [[nodiscard]] Grab take();
  void note_time(double stamp_s, bool monotonic);

  const Clock& clock_;
  DeviceCalls calls_;
  int device_ = -1;
  DeviceFormat format_;
  JpegDecoder jpeg_;
  std::vector<Memory> memory_;
  std::optional<Filled> newest_;
  double grabbed_steady_s_ = 0.0;
  CameraFacts facts_;
  std::string fault_;
};

}  // namespace nightswing::tracker
