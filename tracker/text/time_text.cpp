#include "tracker/text/time_text.h"

#include <array>
#include <charconv>
#include <cmath>
#include <utility>

#include <fmt/format.h>

namespace nightswing::tracker {
namespace {

/// Some thirty years: more is a slip, and no time of a clock.
constexpr double kLongest_s = 1e9;

/// Takes `count` digits off the front of the text.
std::optional<int> take_digits(std::string_view& text, std::size_t count) {
  if (text.size() < count) return std::nullopt;
  int value = 0;
  for (std::size_t i = 0; i < count; ++i) {
    if (text[i] < '0' || text[i] > '9') return std::nullopt;
    value = 10 * value + (text[i] - '0');
  }
  text.remove_prefix(count);
  return value;
}

bool take(std::string_view& text, char wanted) {
  if (text.empty() || text.front() != wanted) return false;
  text.remove_prefix(1);
  return true;
}

std::optional<double> take_number(std::string_view& text) {
  if (text.empty() || text.front() < '0' || text.front() > '9') return std::nullopt;  // "nan", "-5"
  double value = 0.0;
  const auto [end, error] =
      std::from_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed);
  if (error != std::errc{}) return std::nullopt;
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  return value;
}

struct Unit {
  std::string_view name;
  double seconds;
};
// The first that fits is taken, so `min` and `ms` stand before `m`.
constexpr std::array kUnits{Unit{"d", 86400.0},
                            Unit{"h", kHour_s},
                            Unit{"min", 60.0},
                            Unit{"ms", 1e-3},
                            Unit{"m", 60.0},
                            Unit{"s", 1.0}};

/// Minutes east of Greenwich; 0 for `Z` and for nothing at all.
std::optional<int> take_offset(std::string_view& text) {
  if (text.empty() || take(text, 'Z')) return 0;
  const int sign = text.front() == '-' ? -1 : 1;
  if (!take(text, '+') && !take(text, '-')) return std::nullopt;
  const auto hours = take_digits(text, 2);
  take(text, ':');
  const auto minutes = take_digits(text, 2);
  if (!hours || !minutes || *hours > 14 || *minutes > 59) return std::nullopt;
  return sign * (60 * *hours + *minutes);
}

std::optional<double> take_clock_s(std::string_view& text) {
  const auto hour = take_digits(text, 2);
  if (!hour || !take(text, ':')) return std::nullopt;
  const auto minute = take_digits(text, 2);
  double second = 0.0;
  if (take(text, ':')) {
    const auto number = take_number(text);
    if (!number) return std::nullopt;
    second = *number;
  }
  if (!minute || *hour > 23 || *minute > 59 || second >= 61.0) return std::nullopt;
  return kHour_s * *hour + 60.0 * *minute + second;
}

}  // namespace

std::optional<double> parse_duration_s(std::string_view text) {
  if (text.empty()) return std::nullopt;
  double total_s = 0.0;
  double last_unit_s = 1e30;
  while (!text.empty()) {
    const auto number = take_number(text);
    if (!number) return std::nullopt;
    const Unit* unit = nullptr;
    for (const Unit& candidate : kUnits) {
      if (unit == nullptr && text.starts_with(candidate.name)) unit = &candidate;
    }
    if (unit == nullptr || unit->seconds >= last_unit_s) return std::nullopt;
    text.remove_prefix(unit->name.size());
    total_s += *number * unit->seconds;
    last_unit_s = unit->seconds;
  }
  if (total_s > kLongest_s) return std::nullopt;
  return total_s;
}

std::optional<UtcTime> parse_iso_time(std::string_view text) {
  const auto year = take_digits(text, 4);
  if (!year || !take(text, '-')) return std::nullopt;
  const auto month = take_digits(text, 2);
  if (!month || !take(text, '-')) return std::nullopt;
  const auto day = take_digits(text, 2);
  if (!day || (!take(text, 'T') && !take(text, ' '))) return std::nullopt;
  const auto clock_s = take_clock_s(text);
  const auto offset_min = clock_s ? take_offset(text) : std::nullopt;
  if (!offset_min || !text.empty()) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{*year},
                                         std::chrono::month{static_cast<unsigned>(*month)},
                                         std::chrono::day{static_cast<unsigned>(*day)}};
  if (!date.ok()) return std::nullopt;
  return after(UtcTime{std::chrono::sys_days{date}}, *clock_s - 60.0 * *offset_min);
}

std::string iso_text(UtcTime time) {
  using namespace std::chrono;
  const auto rounded = round<milliseconds>(time);
  const auto day = floor<days>(rounded);
  const year_month_day date{day};
  const hh_mm_ss clock{rounded - day};
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:03}Z",
                     static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()),
                     static_cast<unsigned>(date.day()),
                     clock.hours().count(),
                     clock.minutes().count(),
                     clock.seconds().count(),
                     clock.subseconds().count());
}

std::string duration_text(double seconds) {
  if (seconds < 60.0) return fmt::format("{:.1f} s", seconds);
  const auto whole = std::llround(seconds);
  if (whole < 3600) return fmt::format("{} min {:02} s", whole / 60, whole % 60);
  const auto minutes = std::llround(seconds / 60.0);
  return fmt::format("{} h {:02} min", minutes / 60, minutes % 60);
}

std::string wait_text(double seconds) {
  const double minutes = std::ceil(seconds / 60.0);
  return minutes < 60.0 ? fmt::format("{:.0f} min", minutes) : duration_text(60.0 * minutes);
}

UtcTime after(UtcTime start, double t_s) {
  return start + std::chrono::microseconds(std::llround(t_s * 1e6));
}

double seconds_between(UtcTime start, UtcTime time) {
  return 1e-6 * static_cast<double>((time - start).count());
}

}  // namespace nightswing::tracker
