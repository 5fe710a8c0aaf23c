#pragma once

#include <condition_variable>
#include <deque>
#include <exception>
#include <mutex>
#include <thread>

#include "tracker/frames/frame_source.h"

namespace nightswing::tracker {

/// Decodes ahead in a thread of its own, so that the next frame is there while this one is
/// measured. The frames are those of the source, in order: results do not depend on the pace.
/// At most six frames are held.
class FramePump {
 public:
  /// The source must outlive the pump and must not be used meanwhile.
  explicit FramePump(FrameSource& source);
  /// Stops decoding and waits for the thread.
  ~FramePump();
  FramePump(const FramePump&) = delete;
  FramePump& operator=(const FramePump&) = delete;

  /// The next frame; false at the end.
  /// Rethrows what the source threw.
  [[nodiscard]] bool next(Frame& frame);

 private:
  void run();

  FrameSource& source_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Frame> full_;
  bool ended_ = false;
  bool stop_ = false;
  std::exception_ptr fault_;
  std::thread thread_;  // last: it uses all of the above
};

/// Lowers the priority of the calling thread and of threads it starts later, and keeps OpenCV to
/// the thread that calls it, both for good. Decoding is the longer job and a chain of hand-overs
/// between threads: whoever measures its frames on the same few cores finishes sooner by filling
/// the gaps than by breaking the chain.
void give_way_to_decoding();

}  // namespace nightswing::tracker
