#pragma once

#include <chrono>
#include <memory>
#include <string>

#include "tracker/camera/camera.h"
#include "tracker/camera/clock.h"
#include "tracker/frames/picture.h"
#include "tracker/frames/stream_decoder.h"
#include "tracker/frames/stream_pace.h"

namespace nightswing::tracker {

/// A network camera by its address: whatever libav opens (motion JPEG or H.264 over HTTP, RTSP).
/// Pictures have the moment of their arrival; what such streams say of time themselves is of no use
/// (libav counts the pictures of motion JPEG as 25 a second).
class StreamCamera : public Camera {
 public:
  /// Nothing if it was given up before it was open. `clock` must outlive the camera.
  /// throws InputError if no video comes.
  [[nodiscard]] static std::unique_ptr<StreamCamera> open(const std::string& address,
                                                          const StreamPatience& patience,
                                                          const Clock& clock,
                                                          const GiveUp& gives_up = {});

  StreamCamera(const std::string& address,
               std::unique_ptr<StreamDecoder> decoder,
               const Clock& clock);

  /// Waits as long as the patience for a picture says, whatever is given here. kNothing for a
  /// picture that may have waited on the way (StreamPace).
  [[nodiscard]] Grab grab(std::chrono::milliseconds patience, const GiveUp& gives_up) override;
  [[nodiscard]] double grabbed_steady_s() const override { return grabbed_steady_s_; }
  [[nodiscard]] bool retrieve(cv::Mat& picture) override;
  [[nodiscard]] const CameraFacts& facts() const override { return facts_; }
  [[nodiscard]] std::vector<CameraSetting> settings() override { return {}; }
  [[nodiscard]] const std::string& fault() const override { return fault_; }

 private:
  const Clock& clock_;
  std::unique_ptr<StreamDecoder> decoder_;
  Picture picture_;
  StreamPace pace_;
  CameraFacts facts_;
  double grabbed_steady_s_ = 0.0;
  std::string fault_;
};

}  // namespace nightswing::tracker
