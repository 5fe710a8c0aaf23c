#include "tracker/spot/spot_measurement.h"

#include <array>
#include <utility>

namespace nightswing::tracker {
namespace {

constexpr std::array<std::pair<SpotState, std::string_view>, 5> kWords{{
    {SpotState::kFound, "found"},
    {SpotState::kClipped, "clipped"},
    {SpotState::kBlocked, "blocked"},
    {SpotState::kLost, "lost"},
    {SpotState::kDark, "dark"},
}};

}  // namespace

std::string_view word_for(SpotState state) {
  for (const auto& [known, word] : kWords) {
    if (known == state) return word;
  }
  return "lost";
}

std::optional<SpotState> spot_state_from(std::string_view word) {
  for (const auto& [state, known] : kWords) {
    if (known == word) return state;
  }
  return std::nullopt;
}

}  // namespace nightswing::tracker
