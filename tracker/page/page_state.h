#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "tracker/run/event_log.h"

namespace nightswing::tracker {

/// A line of a table: what, and how much in words.
struct PageValue {
  std::string name;
  std::string text;
};

/// What a live page shows beside the picture and the chart; all of it in words, so that the page
/// only lays it out.
struct PageState {
  std::string headline{};               ///< how it goes, in a sentence
  bool is_well = true;                  ///< false: somebody should look
  std::vector<PageValue> values{};      ///< what is seen at the moment
  std::string estimate_text{};          ///< what the night has shown until now, in a sentence
  std::vector<PageValue> estimate{};    ///< the same in figures
  std::vector<std::string> warnings{};  ///< what to mend or to know, newest first
  std::vector<Event> events{};          ///< newest first
  long picture = 0;                     ///< another number for each picture
  bool may_mark = false;                ///< whoever asks may note where the sources are
};

/// `{"headline": "...", "well": true, "values": [["name", "text"]], "estimate_text": "...",
/// "estimate": [...], "warnings": ["..."], "events": [{"utc": "..."|null, "t_s": 1.0|null, "event":
/// "...", "detail": "..."}], "picture": 1, "may_mark": false}`
[[nodiscard]] std::string json_text(const PageState& state);

/// One point of the chart.
struct ChartPoint {
  double t_s;
  double position;
};

/// `{"edition": "...", "label": "...", "points": [[t_s, position]]}`: those after `since_s`, or all
/// if the page holds those of another edition (another unit or step).
[[nodiscard]] std::string json_text(std::span<const ChartPoint> points,
                                    const std::string& edition,
                                    const std::string& label,
                                    const std::string& held_edition,
                                    std::optional<double> since_s);

}  // namespace nightswing::tracker
