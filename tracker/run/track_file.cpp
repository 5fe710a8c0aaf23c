#include "tracker/run/track_file.h"

#include <array>
#include <fstream>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/quantity.h"
#include "tracker/run/csv_text.h"

namespace nightswing::tracker {
namespace {

constexpr std::string_view kTrackHeader = "utc,t_s,x_px,y_px,u_x_px,u_y_px,peak,width_px,state";
constexpr std::size_t kTrackColumns = 9;

std::string line_for(const TrackRow& row) {
  // 1e-5 px and 1 us are far below anything that is measured.
  std::string line = row.utc ? iso_text(*row.utc) : "";
  line += ',' + number_text(row.t_s, 6);
  if (row.spot.position) {
    const SpotPosition& p = *row.spot.position;
    for (const auto& [value, decimals] : {std::pair{p.x_px, 5},
                                          std::pair{p.y_px, 5},
                                          std::pair{p.u_x_px, 5},
                                          std::pair{p.u_y_px, 5},
                                          std::pair{p.peak, 2},
                                          std::pair{p.width_px, 4}}) {
      line += ',' + number_text(value, decimals);
    }
  } else {
    line += ",,,,,,";
  }
  return line + ',' + std::string(word_for(row.spot.state));
}

/// The row, or a phrase that says what is wrong with the line.
std::optional<TrackRow> track_row(const std::string& line, std::string& fault) {
  const auto fields = split_csv(line);
  if (!fields || fields->size() != kTrackColumns) {
    fault = fmt::format("not {} fields", kTrackColumns);
    return std::nullopt;
  }
  TrackRow row;
  if (!(*fields)[0].empty()) {
    row.utc = parse_iso_time((*fields)[0]);
    if (!row.utc) fault = "no time in the first field";
  }
  const auto t_s = analysis::parse_number((*fields)[1]);
  const auto state = spot_state_from((*fields)[8]);
  if (!t_s) fault = "no number in t_s";
  if (!state) fault = fmt::format("unknown state '{}'", (*fields)[8]);
  std::array<double, 6> numbers{};
  std::size_t present = 0;
  for (std::size_t k = 0; k < numbers.size(); ++k) {
    const std::string& field = (*fields)[k + 2];
    if (field.empty()) continue;
    const auto number = analysis::parse_number(field);
    if (!number) fault = fmt::format("'{}' is not a number", field);
    numbers[k] = number.value_or(0.0);
    ++present;
  }
  if (present != 0 && present != numbers.size()) fault = "a position with fields missing";
  if (fault.empty() && is_measured(*state) &&
      (present == 0 || numbers[2] <= 0.0 || numbers[3] <= 0.0)) {
    fault = "a measured spot without position or uncertainty";
  }
  if (!fault.empty()) return std::nullopt;
  row.t_s = *t_s;
  row.spot.state = *state;
  if (present != 0) {
    row.spot.position =
        SpotPosition{numbers[0], numbers[1], numbers[2], numbers[3], numbers[4], numbers[5]};
  }
  return row;
}

}  // namespace

TrackWriter::TrackWriter(const std::filesystem::path& path, StandingLines standing)
    : file_(path, kTrackHeader, standing) {}

void TrackWriter::append(const TrackRow& row) {
  file_.append(line_for(row));
}

std::vector<TrackRow> TrackTail::read(std::size_t most) {
  std::vector<TrackRow> rows;
  std::ifstream file(path_, std::ios::binary);
  if (!file || !file.seekg(offset_)) return rows;
  std::string line;
  // A line without its line break is still being written.
  while (rows.size() < most && std::getline(file, line) && !file.eof()) {
    offset_ += std::ssize(line) + 1;
    std::string fault;
    const auto row = track_row(line, fault);
    if (!row || (last_t_s_ && row->t_s <= *last_t_s_)) continue;
    last_t_s_ = row->t_s;
    rows.push_back(*row);
  }
  return rows;
}

Track read_track(const std::filesystem::path& path) {
  Track track;
  track.warnings = read_timed_rows(path, kTrackHeader, track_row, track.rows);
  return track;
}

}  // namespace nightswing::tracker
