#pragma once

#include <cstdint>
#include <filesystem>
#include <ios>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "tracker/run/line_file.h"
#include "tracker/spot/spot_measurement.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// One line of track.csv: what was measured in one frame. utc is empty where the wall clock is not
/// known; t_s counts from the first frame.
struct TrackRow {
  std::optional<UtcTime> utc;
  double t_s = 0.0;
  SpotMeasurement spot{SpotState::kLost, std::nullopt};
};

/// Appends to track.csv, a line a frame, flushed.
class TrackWriter {
 public:
  explicit TrackWriter(const std::filesystem::path& path,
                       StandingLines standing = StandingLines::kKept);
  void append(const TrackRow& row);
  /// Whether rows stand in the file that have not been repeated yet.
  [[nodiscard]] bool is_repeating() const { return file_.is_repeating(); }
  /// The unfinished last line that was cut off; empty if there was none.
  [[nodiscard]] const std::string& torn_line() const { return file_.torn_line(); }
  /// Waits until the rows are on the disk. throws InputError if it refuses.
  void sync() { file_.sync(); }
  /// Sets room on the disk aside. throws InputError if there is not so much.
  [[nodiscard]] bool reserve(std::int64_t bytes) { return file_.reserve(bytes); }

 private:
  LineFile file_;
};

/// Reads track.csv while it is still written: each time the whole lines that came since.
class TrackTail {
 public:
  explicit TrackTail(std::filesystem::path path) : path_(std::move(path)) {}

  /// The next rows, at most so many; none if there are no more yet, or no file. Lines that cannot
  /// be read, or whose time does not grow, are passed over: `read_track` names them.
  [[nodiscard]] std::vector<TrackRow> read(std::size_t most);

 private:
  std::filesystem::path path_;
  std::streamoff offset_ = 0;
  std::optional<double> last_t_s_{};
};

struct Track {
  std::vector<TrackRow> rows;
  /// What was found damaged and passed over, a sentence each (torn or unreadable lines).
  std::vector<std::string> warnings;
};

/// Reads track.csv. A line that cannot be read is named in `warnings` and passed over; the reading
/// goes on. throws InputError if the file is missing or has another header.
[[nodiscard]] Track read_track(const std::filesystem::path& path);

}  // namespace nightswing::tracker
