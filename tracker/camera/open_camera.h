#pragma once

#include <string>

#include "tracker/camera/camera.h"
#include "tracker/camera/camera_list.h"
#include "tracker/camera/camera_settings.h"
#include "tracker/camera/clock.h"
#include "tracker/camera/stream_camera.h"

namespace nightswing::tracker {

/// How the user names a camera, and what is wanted of it.
struct CameraRequest {
  std::string name;  ///< number, path or part of the name of a device; or the address of a stream
  CameraSettings settings{};
  StreamPatience stream_patience{};
};

/// Opens that camera whenever it is called; each time after the first it is the same one, also if
/// its number has changed by plugging it in anew. `clock` must outlive what is opened.
/// throws InputError if settings are asked of a stream.
[[nodiscard]] OpenCamera camera_opener(const CameraRequest& request,
                                       const Clock& clock,
                                       const DeviceCalls& calls = system_calls(),
                                       const DeviceFolders& folders = {});

}  // namespace nightswing::tracker
