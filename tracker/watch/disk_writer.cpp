#include "tracker/watch/disk_writer.h"

#include <utility>

namespace nightswing::tracker {

DiskWriter::DiskWriter(std::function<void()> sync, std::chrono::milliseconds every)
    : sync_(std::move(sync)), every_(every), thread_([this] { run(); }) {}

DiskWriter::~DiskWriter() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  thread_.join();
}

void DiskWriter::check() {
  const std::lock_guard lock(mutex_);
  if (fault_) std::rethrow_exception(std::exchange(fault_, nullptr));
}

void DiskWriter::run() {
  bool stop = false;
  while (!stop) {
    {
      std::unique_lock lock(mutex_);
      stop = changed_.wait_for(lock, every_, [this] { return stop_; });
    }
    try {
      sync_();
    } catch (...) {
      // A second attempt would seem to succeed: the system has forgotten what it could not write.
      const std::lock_guard lock(mutex_);
      fault_ = std::current_exception();
      return;
    }
  }
}

}  // namespace nightswing::tracker
