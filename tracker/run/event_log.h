#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/positions/swing_series.h"
#include "tracker/run/line_file.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// The timestamped log of a run, events.csv: `utc,t_s,event,detail`. t_s may be negative (a mark
/// set before the first frame) and is empty where it is not known.
///
/// event       detail
/// started     source of the frames
/// side        plus, minus or away: the source masses are there from now on
/// side withdrawn  the same words: the mark of this side at this moment was wrong
/// camera moved    by how much, in words; positions are taken back from then on
/// resumed     after how many lines of the track an interrupted tracking was gone on with; of a
///             watch, what is known of the time between
/// spot lost, spot found, gap, warning, ended    a sentence
/// camera, camera lost, camera back, camera changed, clock step, pictures, video ended    of a
///             watch, a sentence
/// calibrated  a sentence, and by which command (calibrated_text)
struct Event {
  std::optional<UtcTime> utc;
  std::optional<double> t_s;
  std::string event;
  std::string detail;
};

/// Appends to events.csv, a line an event, flushed.
class EventWriter {
 public:
  explicit EventWriter(const std::filesystem::path& path,
                       StandingLines standing = StandingLines::kKept);
  void append(const Event& event);
  /// Waits until the events are on the disk. throws InputError if it refuses.
  void sync() { file_.sync(); }
  /// Sets room on the disk aside. throws InputError if there is not so much.
  [[nodiscard]] bool reserve(std::int64_t bytes) { return file_.reserve(bytes); }

 private:
  LineFile file_;
};

struct EventLog {
  std::vector<Event> events;
  std::vector<std::string> warnings;  ///< lines passed over, a sentence each
};

/// Reads events.csv; a missing file is an empty log. A line that cannot be read is named in
/// `warnings`. throws InputError for another header.
[[nodiscard]] EventLog read_events(const std::filesystem::path& path);

/// The moves of the source masses in the log, in order of time; of two at the same moment the later
/// line counts, and those withdrawn later do not. A `side` event without t_s or with an unknown
/// side is named in `warnings`.
[[nodiscard]] std::vector<analysis::SideChange> side_changes_in(EventLog& log);

/// Detail of a `calibrated` event: what the map is, and by which command it came to be.
///   command  its name and those options that say something of the scale, such as
///            `calibrate --point 212,388.5=120mm`; empty: the scale was read without a word
[[nodiscard]] std::string calibrated_text(const std::string& map, const std::string& command);

/// The command in such a detail; empty if there is none.
[[nodiscard]] std::string calibrating_command(const std::string& detail);

/// plus, minus or away.
[[nodiscard]] std::optional<analysis::Side> side_from(std::string_view word);

}  // namespace nightswing::tracker
