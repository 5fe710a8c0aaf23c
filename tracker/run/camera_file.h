#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calibration/motion/camera_motion.h"
#include "tracker/run/line_file.h"

namespace nightswing::tracker {

/// What became of one look at whether the camera still stands as it did.
enum class CameraState {
  kRegistered,     ///< its motion is known
  kMoved,          ///< its motion is known, and it is a step away from the look before
  kTooFewPatches,  ///< not known: too little of the wall's texture is in view
  kInconsistent,   ///< not known: the patches in view do not agree
};

/// The word for a state in files: registered, moved, too few patches, inconsistent.
[[nodiscard]] std::string_view word_for(CameraState state);

/// Whether the motion of such a look is known.
[[nodiscard]] constexpr bool is_registered(CameraState state) {
  return state == CameraState::kRegistered || state == CameraState::kMoved;
}

/// One line of camera.csv: the motion of the camera from first.png to the frame at t_s. Motion and
/// uncertainty are there if it is registered. A step lies just before a `moved` line.
struct CameraRow {
  double t_s = 0.0;
  calibration::CameraMotion motion{};
  double u_shift_px = 0.0;  ///< of each coordinate of the shift, standard (k = 1)
  int patches = 0;          ///< that agree with the motion
  CameraState state = CameraState::kTooFewPatches;
  bool operator==(const CameraRow&) const = default;
};

/// Appends to camera.csv, a line a look, flushed.
class CameraWriter {
 public:
  explicit CameraWriter(const std::filesystem::path& path,
                        StandingLines standing = StandingLines::kKept);
  void append(const CameraRow& row);
  /// Waits until the rows are on the disk. throws InputError if it refuses.
  void sync() { file_.sync(); }
  /// Sets room on the disk aside. throws InputError if there is not so much.
  [[nodiscard]] bool reserve(std::int64_t bytes) { return file_.reserve(bytes); }

 private:
  LineFile file_;
};

struct CameraRecord {
  std::vector<CameraRow> rows;        ///< times grow
  std::vector<std::string> warnings;  ///< lines passed over, a sentence each
};

/// Reads camera.csv; nothing if there is no such file (the camera was not watched). A line that
/// cannot be read is named in `warnings`.
///
/// throws InputError for another header.
[[nodiscard]] std::optional<CameraRecord> read_camera(const std::filesystem::path& path);

}  // namespace nightswing::tracker
