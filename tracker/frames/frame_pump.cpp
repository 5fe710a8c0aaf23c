#include "tracker/frames/frame_pump.h"

#include <utility>

#include <opencv2/core/utility.hpp>

#include "tracker/thread_priority.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kFramesAhead = 6;
constexpr int kGivenWay = 5;  // steps of the scheduler's niceness: a third of the usual share

}  // namespace

FramePump::FramePump(FrameSource& source) : source_(source), thread_([this] { run(); }) {}

FramePump::~FramePump() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  thread_.join();
}

bool FramePump::next(Frame& frame) {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [this] { return !full_.empty() || ended_; });
  if (full_.empty()) {
    if (fault_) std::rethrow_exception(std::exchange(fault_, nullptr));
    return false;
  }
  frame = std::move(full_.front());
  full_.pop_front();
  changed_.notify_all();
  return true;
}

void FramePump::run() {
  try {
    while (true) {
      Frame frame;
      {
        std::unique_lock lock(mutex_);
        changed_.wait(lock, [this] { return full_.size() < kFramesAhead || stop_; });
        if (stop_) return;
      }
      const bool read = source_.next(frame);
      const std::lock_guard lock(mutex_);
      if (!read) break;
      full_.push_back(std::move(frame));
      changed_.notify_all();
    }
  } catch (...) {
    const std::lock_guard lock(mutex_);
    fault_ = std::current_exception();
  }
  const std::lock_guard lock(mutex_);
  ended_ = true;
  changed_.notify_all();
}

void give_way_to_decoding() {
  // Waking OpenCV's pool for each small picture costs more than it saves while all cores are busy.
  cv::setNumThreads(1);
  lower_thread_priority(kGivenWay);
}

}  // namespace nightswing::tracker
