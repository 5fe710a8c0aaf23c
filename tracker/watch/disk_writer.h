#pragma once

#include <chrono>
#include <condition_variable>
#include <exception>
#include <functional>
#include <mutex>
#include <thread>

namespace nightswing::tracker {

/// Brings to the disk, again and again, what was written, in a thread of its own: a slow memory
/// card may take seconds for it, and the camera does not wait.
class DiskWriter {
 public:
  /// sync  what to do each time; throws if the disk refuses
  DiskWriter(std::function<void()> sync, std::chrono::milliseconds every);
  /// Once more, then the end.
  ~DiskWriter();
  DiskWriter(const DiskWriter&) = delete;
  DiskWriter& operator=(const DiskWriter&) = delete;

  /// Rethrows what went wrong since the last call.
  void check();

 private:
  void run();

  std::function<void()> sync_;
  std::chrono::milliseconds every_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool stop_ = false;
  std::exception_ptr fault_;
  std::thread thread_;  // last: it uses all of the above
};

}  // namespace nightswing::tracker
