#include "tracker/text/pace_text.h"

#include <string_view>

#include <fmt/format.h>

#include "analysis/quantities/quantity.h"

namespace nightswing::tracker {
namespace {

constexpr std::string_view kSteps = "one frame every ";
constexpr std::string_view kWhole = " frames evenly over ";
constexpr std::string_view kAverages = ", averages over ";

/// The number of seconds that stands behind these words.
std::optional<double> seconds_behind(const std::string& text, std::string_view words) {
  const std::size_t at = text.find(words);
  if (at == std::string::npos) return std::nullopt;
  const std::size_t from = at + words.size();
  const std::size_t end = text.find(" s", from);
  if (end == std::string::npos) return std::nullopt;
  return analysis::parse_number(text.substr(from, end - from));
}

}  // namespace

std::string time_from_steps(double frame_every_s) {
  return fmt::format("{}{} s", kSteps, frame_every_s);
}

std::optional<double> frame_every_s(const std::string& time_from) {
  return seconds_behind(time_from, kSteps);
}

std::string time_from_whole(long pictures, double whole_s) {
  return fmt::format("{}{}{:.3f} s", pictures, kWhole, whole_s);
}

std::optional<double> whole_s(const std::string& time_from) {
  return seconds_behind(time_from, kWhole);
}

std::string averages_text(double window_s) {
  return fmt::format("{}{} s", kAverages, window_s);
}

std::optional<double> average_s(const std::string& time_from) {
  return seconds_behind(time_from, kAverages);
}

}  // namespace nightswing::tracker
