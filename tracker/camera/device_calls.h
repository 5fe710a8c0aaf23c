#pragma once

#include <sys/types.h>

#include <cstddef>
#include <functional>
#include <string>

namespace nightswing::tracker {

/// The system calls that a video device is worked with. Tests put a device of their own behind
/// them. Results and errno are those of the calls of the same name; an interrupted one is repeated.
struct DeviceCalls {
  std::function<int(const std::string& path)> open;  ///< for reading and writing, not blocking
  std::function<void(int device)> close;
  std::function<int(int device, unsigned long request, void* argument)> ioctl;
  std::function<void*(int device, std::size_t length, off_t offset)> map;  ///< nullptr if it fails
  std::function<void(void* memory, std::size_t length)> unmap;
  /// Waits until a picture can be taken: above 0 if so, 0 if the time is over, below 0 for a fault.
  std::function<int(int device, int timeout_ms)> wait;
};

/// Those of the operating system.
[[nodiscard]] DeviceCalls system_calls();

}  // namespace nightswing::tracker
