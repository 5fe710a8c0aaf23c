#include "tracker/watch/clock_steps.h"

#include <cmath>

#include <fmt/format.h>

namespace nightswing::tracker {
namespace {

constexpr double kLeast_s = 0.5;

}  // namespace

std::optional<std::string> ClockSteps::look(double steady_s, UtcTime utc) {
  if (!reference_) {
    reference_ = Reading{steady_s, utc};
    return std::nullopt;
  }
  const double ahead_s = seconds_between(reference_->utc, utc) - (steady_s - reference_->steady_s);
  if (std::abs(ahead_s) <= kLeast_s) return std::nullopt;
  reference_ = Reading{steady_s, utc};
  return fmt::format(
      "this computer's clock was put {} by {}; t_s goes on evenly, utc follows the clock",
      ahead_s > 0.0 ? "forward" : "back",
      duration_text(std::abs(ahead_s)));
}

}  // namespace nightswing::tracker
