#include "tracker/run/camera_file.h"

#include <array>
#include <cstddef>
#include <stdexcept>

#include <fmt/format.h>

#include "analysis/quantities/quantity.h"
#include "tracker/run/csv_text.h"

namespace nightswing::tracker {
namespace {

constexpr std::string_view kCameraHeader =
    "t_s,shift_x_px,shift_y_px,rotation_rad,zoom,keystone_x_per_px,keystone_y_per_px,u_shift_px,"
    "patches,state";
constexpr std::size_t kCameraColumns = 10;

std::optional<CameraState> state_from(std::string_view word) {
  for (const CameraState state : {CameraState::kRegistered,
                                  CameraState::kMoved,
                                  CameraState::kTooFewPatches,
                                  CameraState::kInconsistent}) {
    if (word == word_for(state)) return state;
  }
  return std::nullopt;
}

/// The row, or a phrase that says what is wrong with the line.
std::optional<CameraRow> camera_row(const std::string& line, std::string& fault) {
  const auto fields = split_csv(line);
  if (!fields || fields->size() != kCameraColumns) {
    fault = fmt::format("not {} fields", kCameraColumns);
    return std::nullopt;
  }
  const auto state = state_from((*fields)[9]);
  if (!state) {
    fault = fmt::format("unknown state '{}'", (*fields)[9]);
    return std::nullopt;
  }
  std::array<double, 9> numbers{};
  for (std::size_t k = 0; k < numbers.size(); ++k) {
    const bool is_motion = k >= 1 && k <= 7;
    if (is_motion && !is_registered(*state)) continue;
    const auto number = analysis::parse_number((*fields)[k]);
    if (!number) {
      fault = fmt::format("'{}' is not a number", (*fields)[k]);
      return std::nullopt;
    }
    numbers[k] = *number;
  }
  CameraRow row{.t_s = numbers[0], .patches = static_cast<int>(numbers[8]), .state = *state};
  if (!is_registered(*state)) return row;
  row.motion = {numbers[1], numbers[2], numbers[3], numbers[4], numbers[5], numbers[6]};
  row.u_shift_px = numbers[7];
  if (!(row.motion.zoom > 0.0) || !(row.u_shift_px > 0.0)) {
    fault = "a zoom or an uncertainty that is not positive";
    return std::nullopt;
  }
  return row;
}

}  // namespace

std::string_view word_for(CameraState state) {
  switch (state) {
    case CameraState::kRegistered:
      return "registered";
    case CameraState::kMoved:
      return "moved";
    case CameraState::kTooFewPatches:
      return "too few patches";
    case CameraState::kInconsistent:
      return "inconsistent";
  }
  throw std::invalid_argument("word_for: not a state of the camera");
}

CameraWriter::CameraWriter(const std::filesystem::path& path, StandingLines standing)
    : file_(path, kCameraHeader, standing) {}

void CameraWriter::append(const CameraRow& row) {
  std::string motion = ",,,,,,";
  if (is_registered(row.state)) {
    // Each to less than 1e-4 px at the border of a large picture.
    motion = number_text(row.motion.shift_x_px, 5) + ',' + number_text(row.motion.shift_y_px, 5) +
             ',' + number_text(row.motion.rotation_rad, 8) + ',' + number_text(row.motion.zoom, 8) +
             ',' + number_text(row.motion.keystone_x_per_px, 12) + ',' +
             number_text(row.motion.keystone_y_per_px, 12) + ',' + number_text(row.u_shift_px, 5);
  }
  file_.append(fmt::format(
      "{},{},{},{}", number_text(row.t_s, 6), motion, row.patches, word_for(row.state)));
}

std::optional<CameraRecord> read_camera(const std::filesystem::path& path) {
  if (!std::filesystem::exists(path)) return std::nullopt;
  CameraRecord record;
  record.warnings = read_timed_rows(path, kCameraHeader, camera_row, record.rows);
  return record;
}

}  // namespace nightswing::tracker
