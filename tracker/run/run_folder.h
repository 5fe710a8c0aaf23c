#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// The names of what lies in a run folder (blind_file.h knows that of its own).
struct RunFolder {
  std::filesystem::path path;

  [[nodiscard]] std::filesystem::path run_yaml() const { return path / "run.yaml"; }
  [[nodiscard]] std::filesystem::path track() const { return path / "track.csv"; }
  [[nodiscard]] std::filesystem::path events() const { return path / "events.csv"; }
  [[nodiscard]] std::filesystem::path camera() const { return path / "camera.csv"; }
  /// Of a run by `watch`: what it takes to go on with it.
  [[nodiscard]] std::filesystem::path watch() const { return path / "watch.yaml"; }
  /// Of a run by `watch`: the video of the strip that the spot runs through.
  [[nodiscard]] std::filesystem::path video() const { return path / "video"; }
  /// The token of its live page, so that the address stays the same.
  [[nodiscard]] std::filesystem::path page_token() const { return path / "page_token"; }
  [[nodiscard]] std::filesystem::path wall() const { return path / "wall.yaml"; }
  [[nodiscard]] std::filesystem::path frames() const { return path / "frames"; }
  /// The mean of the first frames, which the scale is read from.
  [[nodiscard]] std::filesystem::path first_frame() const { return frames() / "first.png"; }
  /// What the calibration found, drawn into the picture that it read.
  [[nodiscard]] std::filesystem::path calibration_picture() const {
    return frames() / "calibration.png";
  }
  [[nodiscard]] std::filesystem::path apparatus() const { return path / "apparatus.yaml"; }
  [[nodiscard]] std::filesystem::path result_json() const { return path / "result.json"; }
  [[nodiscard]] std::filesystem::path result_txt() const { return path / "result.txt"; }
  [[nodiscard]] std::filesystem::path report() const { return path / "report.html"; }
  [[nodiscard]] std::filesystem::path plots() const { return path / "plots"; }
  [[nodiscard]] std::filesystem::path film() const { return path / "film.mp4"; }
};

/// What run.yaml says of a run.
struct RunInfo {
  std::string program;     ///< name and version that made the track
  std::string source;      ///< where the frames came from, as the user named it
  int frame_width_px = 0;  ///< stored pixels; a rotation tag of the file is not applied
  int frame_height_px = 0;
  double rotation_deg = 0.0;     ///< the rotation tag, for showing the picture upright
  std::string time_from;         ///< how frames map to time, in words
  std::optional<UtcTime> start;  ///< wall clock of the first frame; nothing if not known
  std::string start_from;        ///< where `start` is from, in words
};

/// Makes the folder for a new run. throws InputError if a track lies in it already, if it holds
/// only what is none of a run's files, or if it cannot be made.
[[nodiscard]] RunFolder create_run_folder(const std::filesystem::path& path);

/// The folder of a run that was interrupted or is still to be made; nothing is made yet. throws
/// InputError if it holds only what is none of a run's files.
[[nodiscard]] RunFolder run_folder_at(const std::filesystem::path& path);

/// The same, made if it is not there. throws InputError if it cannot be made, too.
[[nodiscard]] RunFolder resume_run_folder(const std::filesystem::path& path);

/// Keeps other programs from tracking into a run at the same time, as long as this lives; it ends
/// with the program, however that ends.
class RunLock {
 public:
  /// throws InputError if another program holds the lock.
  explicit RunLock(const RunFolder& run);
  ~RunLock();
  RunLock(const RunLock&) = delete;
  RunLock& operator=(const RunLock&) = delete;

 private:
  int descriptor_ = -1;
};

/// An existing run. throws InputError if the folder or its run.yaml is not there.
[[nodiscard]] RunFolder open_run_folder(const std::filesystem::path& path);

void write_run_info(const RunFolder& run, const RunInfo& info);

/// The wall clock at a moment of the run; nothing if that of its start is not known.
[[nodiscard]] std::optional<UtcTime> utc_at(const RunInfo& info, double t_s);

/// `start_from` of a start that the user gave.
inline constexpr const char* kStartFromOption = "option --start";

/// throws InputError for a key that is unknown, missing or of the wrong kind.
[[nodiscard]] RunInfo read_run_info(const RunFolder& run);

}  // namespace nightswing::tracker
