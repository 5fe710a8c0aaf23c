#pragma once

#include <memory>
#include <optional>
#include <string>

#include <CLI/App.hpp>

#include "tracker/camera/open_camera.h"

namespace nightswing::tracker {

/// The options that name a camera and set it, the same for every command that has one.
struct CameraArguments {
  std::string camera;
  std::string exposure;
  std::optional<double> gain;
  std::optional<double> white_balance_K;
  std::optional<double> focus;
  std::string size;
  bool automatic = false;
};

/// Adds --camera, --exposure, --gain, --white-balance, --focus, --size and --automatic.
/// returns the option --camera
CLI::Option* add_camera_options(CLI::App& command, CameraArguments& arguments);

/// What they ask for.
[[nodiscard]] CameraRequest camera_request(const CameraArguments& arguments);

/// What opens that camera; the first time it says, unless `quiet`, that a network camera is being
/// opened, which may take its time. `clock` must outlive what is opened. throws InputError like
/// camera_opener.
[[nodiscard]] OpenCamera announced_opener(const CameraArguments& arguments,
                                          const Clock& clock,
                                          bool quiet = false);

/// The same as words of a command line, without --camera; begins with a blank if not empty.
[[nodiscard]] std::string settings_text(const CameraArguments& arguments);

}  // namespace nightswing::tracker
