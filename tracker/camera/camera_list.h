#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "tracker/camera/device_calls.h"

namespace nightswing::tracker {

/// A V4L2 device that gives pictures.
struct ListedCamera {
  std::string path;     ///< /dev/video0
  std::string name;     ///< what the device calls itself
  std::string lasting;  ///< the name under /dev/v4l/by-id that stays when it is plugged in anew;
                        ///< empty if it has none
};

/// Where devices are looked for.
struct DeviceFolders {
  std::filesystem::path devices = "/dev";
  std::filesystem::path by_id = "/dev/v4l/by-id";
};

/// The cameras of this computer, by number. A camera's second device, which gives no pictures
/// (UVC metadata), is left out.
[[nodiscard]] std::vector<ListedCamera> list_cameras(const DeviceCalls& calls,
                                                     const DeviceFolders& folders = {});

/// The camera that the user means: a number (`0` is /dev/video0), a path, or part of a name, in any
/// case of letters.
/// throws InputError if there is none, or if a name fits several; the text lists what there is.
[[nodiscard]] ListedCamera find_camera(const std::string& wanted,
                                       const DeviceCalls& calls,
                                       const DeviceFolders& folders = {});

}  // namespace nightswing::tracker
