#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "tracker/frames/stream_decoder.h"

namespace nightswing::tracker {

/// What is known of a camera as soon as it is opened.
struct CameraFacts {
  std::string identity;  ///< the same after unplugging and after a restart of the computer
  int width_px = 0;
  int height_px = 0;
  std::string format;                  ///< of the pictures and their rate, in words
  std::string time_from;               ///< where the times of the pictures are from, in words
  std::vector<std::string> refused{};  ///< a sentence for each setting taken otherwise than asked
};

/// One setting of a camera as the device reports it, such as `exposure`, `20 ms`.
struct CameraSetting {
  std::string name;
  std::string value;
  bool operator==(const CameraSetting&) const = default;
};

/// What became of one attempt to get a picture.
enum class Grab {
  kPicture,
  kNothing,  ///< none came in time
  kDamaged,  ///< something came that is no picture
  kGone,     ///< the camera is gone and must be opened anew; `fault` says why
};

/// A camera that gives one picture after the other, as they come. Used by one thread.
class Camera {
 public:
  Camera() = default;
  virtual ~Camera() = default;
  Camera(const Camera&) = delete;
  Camera& operator=(const Camera&) = delete;

  /// Waits for the next picture, not longer than `patience` by much, or until it is given up.
  [[nodiscard]] virtual Grab grab(std::chrono::milliseconds patience, const GiveUp& gives_up) = 0;
  /// The moment of the picture that was grabbed, by the steady clock.
  [[nodiscard]] virtual double grabbed_steady_s() const = 0;
  /// Decodes the picture that was grabbed, 8-bit BGR; false if it is damaged.
  [[nodiscard]] virtual bool retrieve(cv::Mat& picture) = 0;

  [[nodiscard]] virtual const CameraFacts& facts() const = 0;
  /// Exposure, gain, white balance, focus as they are now; empty where they cannot be read.
  [[nodiscard]] virtual std::vector<CameraSetting> settings() = 0;
  /// Why the camera is gone, a phrase.
  [[nodiscard]] virtual const std::string& fault() const = 0;
};

/// Opens a camera; nothing if it was given up before it was open. throws InputError if it cannot be
/// opened.
using OpenCamera = std::function<std::unique_ptr<Camera>(const GiveUp& gives_up)>;

/// `exposure 20 ms, gain 64`; `not known` where there are none.
[[nodiscard]] std::string text_of(const std::vector<CameraSetting>& settings);

}  // namespace nightswing::tracker
