#include "tracker/camera/open_camera.h"

#include <memory>
#include <optional>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/camera/device_camera.h"
#include "tracker/frames/frame_source.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

bool asks_for_settings(const CameraSettings& settings) {
  return settings.exposure_s || settings.gain || settings.white_balance_K || settings.focus ||
         settings.width_px;
}

/// The device that was opened first, wherever it is now.
ListedCamera find_again(const ListedCamera& first,
                        const DeviceCalls& calls,
                        const DeviceFolders& folders) {
  try {
    const ListedCamera same =
        find_camera(first.lasting.empty() ? first.path : first.lasting, calls, folders);
    if (same.name == first.name) return {same.path, same.name, first.lasting};
  } catch (const InputError&) {
    // it may have another number now
  }
  return find_camera(first.name, calls, folders);
}

}  // namespace

OpenCamera camera_opener(const CameraRequest& request,
                         const Clock& clock,
                         const DeviceCalls& calls,
                         const DeviceFolders& folders) {
  if (is_stream(request.name)) {
    if (asks_for_settings(request.settings)) {
      throw UsageError(fmt::format(
          "exposure, gain, white balance, focus and size of {} are set where it is served, such as "
          "in the app on the phone; leave those options out",
          without_password(request.name)));
    }
    return [request, &clock](const GiveUp& gives_up) {
      return StreamCamera::open(request.name, request.stream_patience, clock, gives_up);
    };
  }
  auto first = std::make_shared<std::optional<ListedCamera>>();
  return [request, &clock, calls, folders, first](const GiveUp&) -> std::unique_ptr<Camera> {
    const ListedCamera found =
        *first ? find_again(**first, calls, folders) : find_camera(request.name, calls, folders);
    auto camera = std::make_unique<DeviceCamera>(found, request.settings, clock, calls);
    if (!*first) *first = found;
    return camera;
  };
}

}  // namespace nightswing::tracker
