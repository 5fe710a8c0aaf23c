#include "tracker/commands/camera_options.h"

#include <chrono>
#include <cstdio>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "tracker/commands/argument_checks.h"
#include "tracker/frames/frame_source.h"
#include "tracker/frames/stream_decoder.h"
#include "tracker/text/say.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

/// `1280x720`.
std::optional<std::pair<int, int>> parse_size_px(const std::string& text) {
  int width_px = 0;
  int height_px = 0;
  char rest = 0;
  if (std::sscanf(text.c_str(), "%5dx%5d%c", &width_px, &height_px, &rest) != 2) {
    return std::nullopt;
  }
  if (width_px < 16 || height_px < 16) return std::nullopt;
  return std::pair{width_px, height_px};
}

}  // namespace

CLI::Option* add_camera_options(CLI::App& command, CameraArguments& arguments) {
  CLI::Option* camera = command.add_option(
      "--camera",
      arguments.camera,
      "the camera: its number or path (0, /dev/video0), part of its name, or the address of a "
      "network camera (http://..., rtsp://...); nightswing aim --list lists them");
  command
      .add_option("--exposure", arguments.exposure, "how long each picture collects light: 20ms")
      ->check(duration_check());
  command.add_option("--gain", arguments.gain, "in the camera's own unit")
      ->check(CLI::NonNegativeNumber);
  command.add_option("--white-balance", arguments.white_balance_K, "colour temperature [K]")
      ->check(CLI::PositiveNumber);
  command.add_option("--focus", arguments.focus, "in the camera's own unit")
      ->check(CLI::NonNegativeNumber);
  command
      .add_option("--size",
                  arguments.size,
                  "pixels of a picture, such as 1280x720; without it about so many")
      ->check(CLI::Validator(
          [](std::string& text) {
            return parse_size_px(text) ? std::string()
                                       : fmt::format("'{}' is no size such as 1280x720", text);
          },
          "WIDTHxHEIGHT"));
  command.add_flag("--automatic",
                   arguments.automatic,
                   "let the camera change exposure, white balance and focus by itself");
  return camera;
}

CameraRequest camera_request(const CameraArguments& arguments) {
  CameraRequest request{.name = arguments.camera};
  request.settings.exposure_s = parse_duration_s(arguments.exposure);
  request.settings.gain = arguments.gain;
  request.settings.white_balance_K = arguments.white_balance_K;
  request.settings.focus = arguments.focus;
  request.settings.automatic = arguments.automatic;
  if (const auto size = parse_size_px(arguments.size)) {
    request.settings.width_px = size->first;
    request.settings.height_px = size->second;
  }
  return request;
}

OpenCamera announced_opener(const CameraArguments& arguments, const Clock& clock, bool quiet) {
  return [open = camera_opener(camera_request(arguments), clock),
          address = without_password(arguments.camera),
          is_said = quiet || !is_stream(arguments.camera)](const GiveUp& gives_up) mutable {
    if (!std::exchange(is_said, true)) {
      const auto patience = std::chrono::duration_cast<std::chrono::seconds>(StreamPatience{}.open);
      say(stderr,
          fmt::format("opening {} (it is given up after {} s) ...\n", address, patience.count()));
    }
    return open(gives_up);
  };
}

std::string settings_text(const CameraArguments& arguments) {
  std::string text;
  if (!arguments.exposure.empty()) text += " --exposure " + arguments.exposure;
  if (arguments.gain) text += fmt::format(" --gain {}", *arguments.gain);
  if (arguments.white_balance_K) {
    text += fmt::format(" --white-balance {}", *arguments.white_balance_K);
  }
  if (arguments.focus) text += fmt::format(" --focus {}", *arguments.focus);
  if (!arguments.size.empty()) text += " --size " + arguments.size;
  if (arguments.automatic) text += " --automatic";
  return text;
}

}  // namespace nightswing::tracker
