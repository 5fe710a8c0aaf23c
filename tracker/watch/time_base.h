#pragma once

#include <string>

#include "tracker/camera/clock.h"
#include "tracker/text/time_text.h"
#include "tracker/watch/earlier_run.h"

namespace nightswing::tracker {

/// Where in time the pictures of this program are, in a run that may have begun earlier.
struct TimeBase {
  double steady_at_start_s;  ///< the steady clock at t_s = 0
  UtcTime start;             ///< the wall clock at t_s = 0
  std::string resumed;       ///< what to say of the gap; empty for a new run
};

/// steady_s  the steady clock at the first picture, which is t_s = 0
[[nodiscard]] TimeBase new_time_base(double steady_s, const Clock& clock);

/// The run's time goes on by the steady clock, or, if the computer was restarted since (which sets
/// that one back), by the wall clock.
///
///   steady_s  the steady clock at the first picture of this program
/// throws InputError if the wall clock stands before the last line, so that no gap can be told.
[[nodiscard]] TimeBase resumed_time_base(const EarlierRun& earlier,
                                         double steady_s,
                                         const Clock& clock);

}  // namespace nightswing::tracker
