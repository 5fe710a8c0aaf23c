#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tracker/camera/camera.h"
#include "tracker/camera/device_calls.h"

namespace nightswing::tracker {

/// What the user wants of the camera. Nothing: as it is; but what the camera would change by itself
/// in the night is held still, unless `automatic`.
struct CameraSettings {
  std::optional<double> exposure_s{};       ///< time that each picture collects light
  std::optional<double> gain{};             ///< in the device's own unit
  std::optional<double> white_balance_K{};  ///< colour temperature
  std::optional<double> focus{};            ///< in the device's own unit
  bool automatic = false;                   ///< leave the automatics of the device on
  std::optional<int> width_px{};            ///< both or none; none: near 1280 x 720
  std::optional<int> height_px{};
  double least_rate_Hz = 5.0;  ///< pictures a second; the lowest such rate on offer is taken
};

/// Sets exposure, gain, white balance and focus of a V4L2 device, and switches off its automatics.
/// A device has some of these controls, seldom all: what was not asked for and is not there does
/// not matter.
///   order: automatics off first, values after, because a device refuses the value of what it
///   governs itself; exposure by way of "aperture priority" and "manual", which stubborn devices
///   need (common practice, no source).
/// returns  a sentence for each value that the device took differently from what was asked
/// throws   InputError for a value asked for that the device cannot take; the text has its range.
[[nodiscard]] std::vector<std::string> apply_settings(const DeviceCalls& calls,
                                                      int device,
                                                      const CameraSettings& settings);

/// The same settings as they are now.
[[nodiscard]] std::vector<CameraSetting> read_settings(const DeviceCalls& calls, int device);

}  // namespace nightswing::tracker
