#include "tracker/camera/camera_settings.h"

#include <linux/videodev2.h>

#include <array>
#include <cmath>
#include <string_view>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

/// A control and how its number is shown.
struct Control {
  std::uint32_t id;
  std::string_view name;
  double unit;            ///< what one step of the device is, in the unit shown
  std::string_view word;  ///< of the unit shown
};

// Exposure counts in steps of 100 us (Linux kernel documentation, V4L2 camera controls).
constexpr Control kExposure{V4L2_CID_EXPOSURE_ABSOLUTE, "exposure", 0.1, " ms"};
constexpr Control kGain{V4L2_CID_GAIN, "gain", 1.0, ""};
constexpr Control kWhiteBalance{V4L2_CID_WHITE_BALANCE_TEMPERATURE, "white balance", 1.0, " K"};
constexpr Control kFocus{V4L2_CID_FOCUS_ABSOLUTE, "focus", 1.0, ""};

/// What would change by itself in the night, and its value when it does not.
struct Automatic {
  std::uint32_t id;
  std::string_view name;
  int off;
};
constexpr std::array kAutomatics{
    Automatic{V4L2_CID_EXPOSURE_AUTO, "automatic exposure", V4L2_EXPOSURE_MANUAL},
    Automatic{V4L2_CID_EXPOSURE_AUTO_PRIORITY, "slower in the dark", 0},
    Automatic{V4L2_CID_AUTOGAIN, "automatic gain", 0},
    Automatic{V4L2_CID_AUTO_WHITE_BALANCE, "automatic white balance", 0},
    Automatic{V4L2_CID_FOCUS_AUTO, "automatic focus", 0}};

/// A device and its calls.
struct Device {
  const DeviceCalls& calls;
  int device;

  [[nodiscard]] std::optional<v4l2_queryctrl> about(std::uint32_t id) const {
    v4l2_queryctrl query{};
    query.id = id;
    if (calls.ioctl(device, VIDIOC_QUERYCTRL, &query) < 0) return std::nullopt;
    if ((query.flags & V4L2_CTRL_FLAG_DISABLED) != 0) return std::nullopt;
    return query;
  }
  [[nodiscard]] std::optional<int> value(std::uint32_t id) const {
    if (!about(id)) return std::nullopt;
    v4l2_control control{.id = id, .value = 0};
    if (calls.ioctl(device, VIDIOC_G_CTRL, &control) < 0) return std::nullopt;
    return control.value;
  }
  [[nodiscard]] bool set(std::uint32_t id, int value) const {
    v4l2_control control{.id = id, .value = value};
    return calls.ioctl(device, VIDIOC_S_CTRL, &control) >= 0;
  }
};

std::string shown(const Control& control, int steps) {
  return fmt::format("{:.6g}{}", control.unit * steps, control.word);
}

void switch_automatics_off(const Device& device) {
  for (const Automatic& automatic : kAutomatics) {
    if (!device.about(automatic.id)) continue;
    if (automatic.id == V4L2_CID_EXPOSURE_AUTO) {
      static_cast<void>(device.set(automatic.id, V4L2_EXPOSURE_APERTURE_PRIORITY));
    }
    static_cast<void>(device.set(automatic.id, automatic.off));
  }
}

void set_value(const Device& device,
               const Control& control,
               double wanted,
               std::vector<std::string>& different) {
  const auto about = device.about(control.id);
  if (!about) {
    throw InputError(
        fmt::format("this camera has no control of its {}; leave that option out", control.name));
  }
  const auto steps = static_cast<int>(std::lround(wanted / control.unit));
  if (steps < about->minimum || steps > about->maximum) {
    throw InputError(fmt::format("{} {:.6g}{} is not within what this camera can do, {} to {}",
                                 control.name,
                                 wanted,
                                 control.word,
                                 shown(control, about->minimum),
                                 shown(control, about->maximum)));
  }
  const bool taken = device.set(control.id, steps);
  const auto now = device.value(control.id);
  if (taken && now && *now == steps) return;
  different.push_back(
      fmt::format("{} {:.6g}{} was asked for; the camera {}",
                  control.name,
                  wanted,
                  control.word,
                  now ? "says " + shown(control, *now) : std::string("does not say what it took")));
}

}  // namespace

std::vector<std::string> apply_settings(const DeviceCalls& calls,
                                        int device,
                                        const CameraSettings& settings) {
  const Device camera{calls, device};
  std::vector<std::string> different;
  if (!settings.automatic) switch_automatics_off(camera);
  const auto set = [&](const Control& control, std::optional<double> wanted) {
    if (wanted) set_value(camera, control, *wanted, different);
  };
  set(kExposure, settings.exposure_s ? std::optional(1e3 * *settings.exposure_s) : std::nullopt);
  set(kGain, settings.gain);
  set(kWhiteBalance, settings.white_balance_K);
  set(kFocus, settings.focus);
  if (settings.automatic) return different;
  for (const Automatic& automatic : kAutomatics) {
    const auto now = camera.value(automatic.id);
    if (now && *now != automatic.off) {
      different.push_back(fmt::format("{} cannot be switched off", automatic.name));
    }
  }
  return different;
}

std::vector<CameraSetting> read_settings(const DeviceCalls& calls, int device) {
  const Device camera{calls, device};
  std::vector<CameraSetting> settings;
  for (const Control& control : {kExposure, kGain, kWhiteBalance, kFocus}) {
    if (const auto now = camera.value(control.id)) {
      settings.push_back({std::string(control.name), shown(control, *now)});
    }
  }
  for (const Automatic& automatic : kAutomatics) {
    if (const auto now = camera.value(automatic.id)) {
      settings.push_back({std::string(automatic.name), *now == automatic.off ? "off" : "on"});
    }
  }
  return settings;
}

}  // namespace nightswing::tracker
