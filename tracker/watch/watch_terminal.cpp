#include "tracker/watch/watch_terminal.h"

#include <cstdio>

#include <fmt/format.h>

#include "tracker/text/say.h"
#include "tracker/text/time_text.h"
#include "tracker/watch/disk_space.h"

namespace nightswing::tracker {
namespace {

constexpr double kEveryOnTerminal_s = 1.0;
constexpr double kEveryElsewhere_s = 600.0;

}  // namespace

void WatchTerminal::show(const WatchStatus& status) {
  if (quiet_ || status.t_s < next_s_) return;
  next_s_ = status.t_s + (line_.on_terminal() ? kEveryOnTerminal_s : kEveryElsewhere_s);
  line_.show(text_of(status));
}

void WatchTerminal::tell(const std::string& event, const std::string& detail) {
  if (quiet_) return;
  finish();
  say(stderr, fmt::format("{}: {}\n", event, detail));
}

std::string text_of(const WatchStatus& status) {
  const std::string time = duration_text(status.t_s);
  if (!status.camera_fault.empty()) {
    return fmt::format("{}: no camera ({})", time, status.camera_fault);
  }
  if (!status.spot.position) return fmt::format("{}: spot {}", time, word_for(status.spot.state));
  const SpotPosition& p = *status.spot.position;
  if (!status.so_far.sentence.empty()) {
    return fmt::format(
        "{}: spot {}; {}", time, word_for(status.spot.state), status.so_far.sentence);
  }
  return fmt::format("{}: spot {} at {:.2f} px, {:.2f} px (width {:.1f} px)",
                     time,
                     word_for(status.spot.state),
                     p.x_px,
                     p.y_px,
                     p.width_px);
}

}  // namespace nightswing::tracker
