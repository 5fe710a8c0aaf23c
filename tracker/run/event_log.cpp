#include "tracker/run/event_log.h"

#include <algorithm>

#include <fmt/format.h>

#include "analysis/quantities/quantity.h"
#include "tracker/run/csv_text.h"

namespace nightswing::tracker {
namespace {

constexpr std::string_view kEventHeader = "utc,t_s,event,detail";
constexpr std::string_view kBy = "; by: ";

/// Fills `event`; says in a phrase why it cannot, or nothing.
std::string read_event(const std::string& line, Event& event) {
  const auto fields = split_csv(line);
  if (!fields || fields->size() != 4) return "not the four fields utc,t_s,event,detail";
  event = {.utc = {}, .t_s = {}, .event = (*fields)[2], .detail = (*fields)[3]};
  if (!(*fields)[0].empty()) {
    event.utc = parse_iso_time((*fields)[0]);
    if (!event.utc) return fmt::format("'{}' is no time in ISO 8601", (*fields)[0]);
  }
  if (!(*fields)[1].empty()) {
    event.t_s = analysis::parse_number((*fields)[1]);
    if (!event.t_s) return fmt::format("'{}' is not a number", (*fields)[1]);
  }
  return {};
}

}  // namespace

EventWriter::EventWriter(const std::filesystem::path& path, StandingLines standing)
    : file_(path, kEventHeader, standing) {}

void EventWriter::append(const Event& event) {
  file_.append(fmt::format("{},{},{},{}",
                           event.utc ? iso_text(*event.utc) : "",
                           event.t_s ? number_text(*event.t_s, 3) : "",
                           csv_field(event.event),
                           csv_field(event.detail)));
}

EventLog read_events(const std::filesystem::path& path) {
  EventLog log;
  if (!std::filesystem::exists(path)) return log;
  log.warnings = read_lines(path, kEventHeader, [&](const std::string& line) -> std::string {
    Event event;
    std::string fault = read_event(line, event);
    if (fault.empty()) log.events.push_back(std::move(event));
    return fault;
  });
  return log;
}

std::vector<analysis::SideChange> side_changes_in(EventLog& log) {
  std::vector<analysis::SideChange> changes;
  for (const Event& event : log.events) {
    const bool withdrawn = event.event == "side withdrawn";
    if (event.event != "side" && !withdrawn) continue;
    const auto side = side_from(event.detail);
    if (!side || !event.t_s) {
      log.warnings.push_back(fmt::format(
          "events.csv: a side change to '{}' without a known time or side was passed over",
          event.detail));
      continue;
    }
    std::erase_if(changes, [&](const auto& change) {
      return change.t_s == *event.t_s && (!withdrawn || change.side == *side);
    });
    if (!withdrawn) changes.push_back({*side, *event.t_s});
  }
  std::ranges::stable_sort(changes, {}, &analysis::SideChange::t_s);
  return changes;
}

std::string calibrated_text(const std::string& map, const std::string& command) {
  return command.empty() ? map : map + std::string(kBy) + command;
}

std::string calibrating_command(const std::string& detail) {
  const std::size_t at = detail.rfind(kBy);
  return at == std::string::npos ? "" : detail.substr(at + kBy.size());
}

std::optional<analysis::Side> side_from(std::string_view word) {
  for (const auto side : {analysis::Side::kPlus, analysis::Side::kMinus, analysis::Side::kAway}) {
    if (word == analysis::name_of(side)) return side;
  }
  return std::nullopt;
}

}  // namespace nightswing::tracker
