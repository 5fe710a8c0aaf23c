#include "tracker/watch/result_so_far.h"

#include <cmath>

#include <fmt/format.h>

#include "analysis/night/night.h"
#include "analysis/quantities/quantity.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

using analysis::Measured;
using analysis::RunningResult;
using analysis::RunningState;

/// `0.8 %`: two digits, so that progress shows.
std::string percent(double share) {
  return fmt::format("{:.2g} %", 100.0 * share);
}

std::string period_text(const RunningResult& r) {
  return fmt::format("period {}", analysis::format_quantity(*r.period_s, "s"));
}

std::string shift_text(const RunningResult& r, LengthsIn lengths, double target) {
  const Measured shift = *r.shift_mm;
  const double relative = shift.u / std::abs(shift.value);
  const std::string size = lengths == LengthsIn::kMillimetres
                               ? "shift " + analysis::format_quantity(shift, "mm") + ","
                               : std::string("shift");
  if (!analysis::shift_is_clear(shift)) {
    return lengths == LengthsIn::kMillimetres
               ? fmt::format("no shift stands out yet ({})", analysis::format_quantity(shift, "mm"))
               : "no shift stands out yet";
  }
  const std::string known = fmt::format("{} known to {} now", size, percent(relative));
  if (relative <= target)
    return fmt::format("{}: the {} wanted are reached", known, percent(target));
  if (r.seconds_to_target) {
    return fmt::format("{}, another {} for {} if the sources stay",
                       known,
                       wait_text(*r.seconds_to_target),
                       percent(target));
  }
  if (!r.equilibrium_mm) return known + "; the sources were moved just now";
  return fmt::format(
      "{}; {} are more than a day away with the sources on this side: move them again",
      known,
      percent(target));
}

std::string state_text(const RunningResult& r, LengthsIn lengths, double target) {
  switch (r.state) {
    case RunningState::kTooFew:
      return "too few positions for an estimate yet";
    case RunningState::kNoSwing:
      return "no swing with one period stands out of the scatter so far";
    case RunningState::kTooShort:
      return "less than a whole period of one segment watched: no estimate yet";
    case RunningState::kOneSide:
      return period_text(r) + "; a shift needs a whole period on each side";
    case RunningState::kShift:
      break;
  }
  return shift_text(r, lengths, target);
}

}  // namespace

ResultSoFar result_so_far(const RunningResult& running, LengthsIn lengths, double target_relative) {
  ResultSoFar so_far{.at_s = running.at_s, .target_relative = target_relative};
  so_far.side = running.side;
  so_far.period_s = running.period_s;
  if (lengths == LengthsIn::kMillimetres) {
    so_far.equilibrium_mm = running.equilibrium_mm;
    so_far.shift_mm = running.shift_mm;
  }
  if (running.shift_mm && running.shift_mm->value != 0.0) {
    so_far.shift_relative_u = running.shift_mm->u / std::abs(running.shift_mm->value);
  }
  if (running.seconds_to_target) {
    so_far.hours_to_target = *running.seconds_to_target / kHour_s;
  }
  so_far.sentence = state_text(running, lengths, target_relative);
  if (lengths == LengthsIn::kPixels && running.period_s) {
    so_far.sentence += " (in pixels: the wall is not calibrated)";
  }
  if (running.sides_found) so_far.sentence += "; sides as found, none is marked";
  for (const std::string& warning : running.warnings) so_far.sentence += "; " + warning;
  return so_far;
}

}  // namespace nightswing::tracker
