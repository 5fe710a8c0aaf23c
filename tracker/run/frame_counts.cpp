#include "tracker/run/frame_counts.h"

#include <fmt/format.h>

namespace nightswing::tracker {

std::string counts_text(const FrameCounts& counts) {
  std::string text;
  for (const SpotState state : kSpotStates) {
    text += fmt::format("{}{} {}", text.empty() ? "" : ", ", counts.of(state), word_for(state));
  }
  return text;
}

}  // namespace nightswing::tracker
