#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace nightswing::tracker {

/// A moment of the wall clock, UTC, to the microsecond.
using UtcTime = std::chrono::sys_time<std::chrono::microseconds>;

inline constexpr double kHour_s = 3600.0;

/// `90s`, `2h30m`, `1.5h`, `250ms`, `1d2h`: units d, h, m (or min), s, ms in falling order, without
/// blanks. Returns seconds; nothing if the text is not of this form, or more than some thirty
/// years.
[[nodiscard]] std::optional<double> parse_duration_s(std::string_view text);

/// ISO 8601: `2026-03-14T21:30:00Z`, with an offset `+01:00`, or without either (then UTC), seconds
/// and their decimals optional, `T` or a blank. Nothing if the text is not of this form or the date
/// does not exist.
[[nodiscard]] std::optional<UtcTime> parse_iso_time(std::string_view text);

/// `2026-03-14T21:30:00.000Z`, milliseconds always.
[[nodiscard]] std::string iso_text(UtcTime time);

/// `2 h 05 min`, `12 min 30 s`, `4.0 s`: for people.
[[nodiscard]] std::string duration_text(double seconds);

/// `40 min`, `3 h 12 min`: how long to wait yet, of which seconds would be more than is known.
[[nodiscard]] std::string wait_text(double seconds);

/// Time of the wall clock at t_s after `start`.
[[nodiscard]] UtcTime after(UtcTime start, double t_s);

/// Seconds from `start` to `time`.
[[nodiscard]] double seconds_between(UtcTime start, UtcTime time);

}  // namespace nightswing::tracker
