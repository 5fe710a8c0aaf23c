#include "tracker/camera/device_calls.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cerrno>

namespace nightswing::tracker {
namespace {

int repeated_ioctl(int device, unsigned long request, void* argument) {
  int result = 0;
  do {
    result = ::ioctl(device, request, argument);
  } while (result < 0 && errno == EINTR);
  return result;
}

void* map_memory(int device, std::size_t length, off_t offset) {
  void* memory = ::mmap(nullptr, length, PROT_READ | PROT_WRITE, MAP_SHARED, device, offset);
  return memory == MAP_FAILED ? nullptr : memory;
}

int wait_readable(int device, int timeout_ms) {
  pollfd waited{.fd = device, .events = POLLIN, .revents = 0};
  const int ready = ::poll(&waited, 1, timeout_ms);
  if (ready < 0 && errno == EINTR) return 0;
  if (ready > 0 && (waited.revents & POLLIN) == 0) {  // unplugged, or streaming has stopped
    errno = ENODEV;
    return -1;
  }
  return ready;
}

}  // namespace

DeviceCalls system_calls() {
  return {.open =
              [](const std::string& path) {
                return ::open(path.c_str(), O_RDWR | O_NONBLOCK | O_CLOEXEC);
              },
          .close = [](int device) { ::close(device); },
          .ioctl = repeated_ioctl,
          .map = map_memory,
          .unmap = [](void* memory, std::size_t length) { ::munmap(memory, length); },
          .wait = wait_readable};
}

}  // namespace nightswing::tracker
