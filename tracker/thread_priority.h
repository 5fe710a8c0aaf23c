#pragma once

#include <sys/resource.h>
#include <unistd.h>

namespace nightswing::tracker {

/// Steps of the scheduler's niceness for what the tracking of a camera must not wait for.
inline constexpr int kBelowTracking = 10;

/// Lets the other threads go first, from now on and for the calling thread alone (that is Linux's
/// own: elsewhere it would be the whole program). Only speed hangs on it, so a refusal does not
/// matter.
///   steps  of niceness, above 0
inline void lower_thread_priority(int steps) {
  static_cast<void>(::setpriority(PRIO_PROCESS, static_cast<id_t>(::gettid()), steps));
}

}  // namespace nightswing::tracker
