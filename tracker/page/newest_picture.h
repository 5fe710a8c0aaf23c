#pragma once

#include <chrono>
#include <optional>
#include <string>

#include <opencv2/core.hpp>

#include "tracker/aim/aim_reading.h"
#include "tracker/spot/spot_measurement.h"

namespace nightswing::tracker {

/// A picture of a camera at work, with what was seen in it.
struct SeenPicture {
  cv::Mat picture{};  ///< 8-bit BGR; shared, never written to
  SpotMeasurement spot{SpotState::kLost, std::nullopt};
  std::optional<SwingRoom> room{};
  long number = 0;  ///< another one for each picture; 0: none yet
};

/// The newest picture as JPEG with the spot marked, at most 1280 pixels wide. Drawn and encoded
/// only when it is asked for, and not more often than once a second, however many ask.
class NewestPicture {
 public:
  /// Empty if there is none yet.
  [[nodiscard]] const std::string& jpeg(const SeenPicture& seen,
                                        std::chrono::steady_clock::time_point now);

 private:
  std::string jpeg_;
  long number_ = 0;
  std::chrono::steady_clock::time_point made_{};
};

}  // namespace nightswing::tracker
