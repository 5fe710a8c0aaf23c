#pragma once

#include <optional>
#include <string>

#include <CLI/App.hpp>

#include "analysis/positions/swing_series.h"
#include "analysis/quantities/measured.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// Words of the command line, checked while they are parsed (wrong usage, exit status 2).

/// `5s`, `2h30m`; above zero.
[[nodiscard]] CLI::Validator duration_check();
/// ISO 8601.
[[nodiscard]] CLI::Validator iso_time_check();
/// `07:00`, or ISO 8601.
[[nodiscard]] CLI::Validator moment_check();
/// `plus@0s`, `minus@2h5m`, `away@2026-03-14T23:30:00Z`.
[[nodiscard]] CLI::Validator side_check();

/// `--bar`, what the bar below the printed scale measures; its text comes to `bar`.
void add_bar_option(CLI::App& command, std::string& bar);
/// What was given of it [mm]; nothing for an empty text. throws InputError as parse_bar_mm.
[[nodiscard]] std::optional<analysis::Measured> bar_mm_from(const std::string& bar);

/// `1%`, `0.01`: what is wanted for the standard uncertainty, as a share of the value.
/// throws UsageError unless it is above 0 and at most 30 %.
[[nodiscard]] double target_share(const std::string& text);

/// A moment of the night as the user names it: a duration since the first frame, or a time of the
/// wall clock, for which the start must be known. Seconds since the first frame.
/// throws UsageError if the text is neither, InputError if it is a wall-clock time in a run without
/// a known start.
[[nodiscard]] double moment_s(const std::string& text, const std::optional<UtcTime>& start);

/// The next time that the clock on the wall shows `07:00` (in the time zone of this computer,
/// summer time or not), or the moment that ISO 8601 names. throws UsageError for another text.
[[nodiscard]] UtcTime next_moment(const std::string& text, UtcTime now);

/// `plus@0s` and so on. throws as moment_s.
[[nodiscard]] analysis::SideChange side_change_from(const std::string& text,
                                                    const std::optional<UtcTime>& start);

}  // namespace nightswing::tracker
