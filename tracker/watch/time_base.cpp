#include "tracker/watch/time_base.h"

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {

TimeBase new_time_base(double steady_s, const Clock& clock) {
  return {.steady_at_start_s = steady_s,
          .start = after(clock.utc(), steady_s - clock.steady_s()),
          .resumed = {}};
}

TimeBase resumed_time_base(const EarlierRun& earlier, double steady_s, const Clock& clock) {
  const UtcTime start = earlier.info.start.value_or(clock.utc());
  const double by_steady_s = steady_s - earlier.watch.steady_at_start_s;
  if (earlier.watch.boot == clock.boot() && by_steady_s > earlier.last_t_s) {
    return {.steady_at_start_s = earlier.watch.steady_at_start_s,
            .start = start,
            .resumed = fmt::format("after {} without a track: the program had ended",
                                   duration_text(by_steady_s - earlier.last_t_s))};
  }
  const double gap_s = seconds_between(earlier.last_utc.value_or(start), clock.utc()) -
                       (clock.steady_s() - steady_s);
  if (gap_s <= 0.0) {
    throw InputError(fmt::format(
        "this computer was restarted and its clock says {}, before the last line of the track at "
        "{}; set the clock, then give the same command again",
        iso_text(clock.utc()),
        iso_text(earlier.last_utc.value_or(start))));
  }
  return {.steady_at_start_s = steady_s - (earlier.last_t_s + gap_s),
          .start = start,
          .resumed = fmt::format("after {} without a track, by the wall clock: this computer had "
                                 "been restarted",
                                 duration_text(gap_s))};
}

}  // namespace nightswing::tracker
