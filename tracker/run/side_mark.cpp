#include "tracker/run/side_mark.h"

#include <algorithm>
#include <cmath>
#include <string>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/run/event_log.h"

namespace nightswing::tracker {
namespace {

void append(const RunFolder& run, const std::string& event, analysis::Side side, double t_s) {
  EventWriter(run.events())
      .append({utc_at(read_run_info(run), t_s), t_s, event, std::string(analysis::name_of(side))});
}

/// The log holds milliseconds.
bool is_at(const analysis::SideChange& change, double t_s) {
  return std::abs(change.t_s - t_s) < 1e-3;
}

}  // namespace

std::optional<analysis::Side> side_marked_at(const RunFolder& run, double t_s) {
  EventLog log = read_events(run.events());
  for (const analysis::SideChange& change : side_changes_in(log)) {
    if (is_at(change, t_s)) return change.side;
  }
  return std::nullopt;
}

void note_side(const RunFolder& run, analysis::Side side, double t_s) {
  append(run, "side", side, t_s);
}

void withdraw_side(const RunFolder& run, analysis::Side side, double t_s) {
  EventLog log = read_events(run.events());
  const auto changes = side_changes_in(log);
  const auto mark = std::ranges::find_if(changes, [&](const analysis::SideChange& change) {
    return change.side == side && is_at(change, t_s);
  });
  if (mark != changes.end()) return append(run, "side withdrawn", side, mark->t_s);
  std::string marks;
  for (const analysis::SideChange& change : changes) {
    marks += fmt::format(
        "{}{} at {} s", marks.empty() ? "" : ", ", analysis::name_of(change.side), change.t_s);
  }
  throw InputError(fmt::format("{} holds no mark {} at {:.3f} s to withdraw; it holds {}",
                               run.events().string(),
                               analysis::name_of(side),
                               t_s,
                               marks.empty() ? "none" : marks));
}

}  // namespace nightswing::tracker
