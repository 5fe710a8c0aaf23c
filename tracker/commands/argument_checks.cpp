#include "tracker/commands/argument_checks.h"

#include <chrono>
#include <cstdio>
#include <ctime>
#include <optional>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"
#include "tracker/run/event_log.h"
#include "tracker/text/usage_error.h"
#include "tracker/wall/wall_calibration.h"

namespace nightswing::tracker {
namespace {

struct ClockTime {
  int hour;
  int minute;
};

std::optional<ClockTime> clock_time(const std::string& text) {
  ClockTime time{};
  char rest = 0;
  const int read = std::sscanf(text.c_str(), "%2d:%2d%c", &time.hour, &time.minute, &rest);
  if (read != 2 || text.size() < 4 || text.find_first_not_of("0123456789:") != std::string::npos) {
    return std::nullopt;
  }
  if (time.hour > 23 || time.minute > 59) return std::nullopt;
  return time;
}

}  // namespace

CLI::Validator duration_check() {
  return CLI::Validator(
      [](std::string& text) {
        const auto seconds = parse_duration_s(text);
        if (seconds && *seconds > 0.0) return std::string();
        return fmt::format("'{}' is no duration above zero such as 5s, 90s or 2h30m", text);
      },
      "DURATION");
}

CLI::Validator iso_time_check() {
  return CLI::Validator(
      [](std::string& text) {
        if (parse_iso_time(text)) return std::string();
        return fmt::format("'{}' is no time such as 2026-03-14T21:30:00Z", text);
      },
      "TIME");
}

CLI::Validator moment_check() {
  return CLI::Validator(
      [](std::string& text) {
        if (clock_time(text) || parse_iso_time(text)) return std::string();
        return fmt::format("'{}' is no time such as 07:00 or 2026-03-15T07:00:00Z", text);
      },
      "TIME");
}

CLI::Validator side_check() {
  return CLI::Validator(
      [](std::string& text) {
        const std::size_t at = text.find('@');
        const std::string moment = at == std::string::npos ? "" : text.substr(at + 1);
        if (side_from(text.substr(0, at)) && (parse_duration_s(moment) || parse_iso_time(moment))) {
          return std::string();
        }
        return fmt::format("'{}' is no side and moment such as plus@0s or minus@2h5m", text);
      },
      "SIDE@MOMENT");
}

void add_bar_option(CLI::App& command, std::string& bar) {
  command.add_option("--bar",
                     bar,
                     "what the bar below the printed scale measures instead of 200 mm (portrait: "
                     "160 mm), such as \"199.4(2) mm\"");
}

std::optional<analysis::Measured> bar_mm_from(const std::string& bar) {
  if (bar.empty()) return std::nullopt;
  return parse_bar_mm(bar);
}

double target_share(const std::string& text) {
  const bool percent = text.ends_with('%');
  const auto number = analysis::parse_number(percent ? text.substr(0, text.size() - 1) : text);
  const double share = number.value_or(0.0) * (percent ? 0.01 : 1.0);
  constexpr double kMost = 0.3;  // more is hardly wanted: 0.5 most likely means 0.5 %
  if (!number || !(share > 0.0 && share <= kMost)) {
    throw UsageError(
        fmt::format("--target must be above 0 and at most 30 %, as in 1%, but is '{}'", text));
  }
  return share;
}

double moment_s(const std::string& text, const std::optional<UtcTime>& start) {
  if (const auto seconds = parse_duration_s(text)) return *seconds;
  const auto time = parse_iso_time(text);
  if (!time) {
    throw UsageError(fmt::format(
        "'{}' is no moment of the night; write 2h5m after the first frame, or 2026-03-14T23:35:00Z",
        text));
  }
  if (!start) {
    throw InputError(
        fmt::format("'{}' cannot be placed: the wall-clock time of the first frame is not known; "
                    "give the moment as 2h5m after the first frame, or replay with --start",
                    text));
  }
  return seconds_between(*start, *time);
}

UtcTime next_moment(const std::string& text, UtcTime now) {
  if (const auto moment = parse_iso_time(text)) return *moment;
  const auto wanted = clock_time(text);
  if (!wanted) throw UsageError(fmt::format("'{}' is no time such as 07:00", text));
  const std::time_t seconds = std::chrono::system_clock::to_time_t(now);
  std::tm local{};
  ::localtime_r(&seconds, &local);
  local.tm_hour = wanted->hour;
  local.tm_min = wanted->minute;
  local.tm_sec = 0;
  for (const int days : {0, 1}) {
    std::tm day = local;
    day.tm_mday += days;
    day.tm_isdst = -1;  // to be found out: the night may be one of a change
    const auto moment = UtcTime(std::chrono::seconds(std::mktime(&day)));
    if (moment > now) return moment;
  }
  throw InputError(fmt::format("there is no {} within a day", text));
}

analysis::SideChange side_change_from(const std::string& text,
                                      const std::optional<UtcTime>& start) {
  const std::size_t at = text.find('@');
  const auto side = side_from(text.substr(0, at));
  if (!side || at == std::string::npos) {
    throw UsageError(fmt::format("'{}' is no side and moment such as plus@0s or minus@2h5m", text));
  }
  return {*side, moment_s(text.substr(at + 1), start)};
}

}  // namespace nightswing::tracker
