#pragma once

#include <chrono>
#include <string>

#include <opencv2/videoio.hpp>

#include "tracker/camera/camera.h"
#include "tracker/camera/clock.h"
#include "tracker/camera/stream_pace.h"

namespace nightswing::tracker {

/// How long to wait for a network camera.
struct StreamPatience {
  /// Until it is open: before the first picture FFmpeg looks at up to 7 s of a stream, and of a
  /// slow camera that takes it longer than that to come.
  std::chrono::milliseconds open{20'000};
  std::chrono::milliseconds picture{5'000};  ///< for each picture later
};

/// A network camera by its address: whatever OpenCV's FFmpeg opens (motion JPEG or H.264 over HTTP,
/// RTSP). Pictures have the moment of their arrival; what such streams say of time themselves is of
/// no use (OpenCV 4.6 gives -3.7e20 ms for motion JPEG).
class StreamCamera : public Camera {
 public:
  /// `clock` must outlive the camera.
  /// throws InputError if no video comes.
  StreamCamera(const std::string& address, const StreamPatience& patience, const Clock& clock);

  /// Waits as long as the patience for a picture says, whatever is given here. kNothing for a
  /// picture that may have waited on the way (StreamPace).
  [[nodiscard]] Grab grab(std::chrono::milliseconds patience) override;
  [[nodiscard]] double grabbed_steady_s() const override { return grabbed_steady_s_; }
  [[nodiscard]] bool retrieve(cv::Mat& picture) override;
  [[nodiscard]] const CameraFacts& facts() const override { return facts_; }
  [[nodiscard]] std::vector<CameraSetting> settings() override { return {}; }
  [[nodiscard]] const std::string& fault() const override { return fault_; }

 private:
  const Clock& clock_;
  std::chrono::milliseconds patience_;  // for a picture
  cv::VideoCapture capture_;
  StreamPace pace_;
  CameraFacts facts_;
  double grabbed_steady_s_ = 0.0;
  std::string fault_;
};

}  // namespace nightswing::tracker
