#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/night/night.h"
#include "calibration/map/wall_map.h"
#include "tracker/run/frame_counts.h"
#include "tracker/run/run_folder.h"
#include "tracker/spot/spot_measurement.h"
#include "tracker/wall/camera_correction.h"

namespace nightswing::tracker {

/// What the motion of the camera did to the track, and what was taken back.
struct CameraOfRun {
  long looks = 0;   ///< how often it was looked at
  long failed = 0;  ///< looks that could not tell
  int bumps = 0;
  double max_shift_px = 0.0;  ///< the farthest that a measured spot was taken back
  double max_u_px = 0.0;      ///< the largest uncertainty that this added to one
};

/// A run folder as the analysis wants it: the track in millimetres.
struct NightOfRun {
  analysis::Night night;
  RunInfo info;
  FrameCounts frames_by_state{};
  double mm_per_px = 0.0;  ///< in the middle of the travel
  calibration::WallMap map;
  std::vector<calibration::PixelPoint> pixels;  ///< of the samples, in the calibrated picture
  std::optional<CameraOfRun> camera{};          ///< nothing if the camera was not watched
  std::vector<std::string> passed_over{};       ///< damaged lines of track and log, a sentence each
  std::vector<std::string> warnings;            ///< these, extrapolation, a map that does not fit
};

/// The place of a spot on the wall, by the map of it. Without a plane map the height is judged as
/// if the camera looked straight at the wall.
[[nodiscard]] analysis::WallSample sample_on_wall(const calibration::WallMap& map,
                                                  double t_s,
                                                  const SpotPosition& spot);

/// A spot of the frame at t_s taken back to the calibrated picture, with the uncertainty that adds.
[[nodiscard]] SpotPosition steady_spot(const CameraCorrection& correction,
                                       double t_s,
                                       SpotPosition spot);

/// What camera.csv holds by now.
struct CameraReading {
  /// Nothing if the camera was not watched or not looked at yet.
  std::optional<CameraCorrection> correction{};
  std::vector<std::string> warnings{};  ///< lines passed over, a sentence each
};

/// throws InputError if camera.csv has another header.
[[nodiscard]] CameraReading read_camera_correction(const RunFolder& run, const RunInfo& info);

/// Reads run.yaml, track.csv, events.csv, camera.csv and wall.yaml, takes every measured position
/// back to the picture that was calibrated (CameraCorrection) and maps it to the wall. The sides
/// are those marked in events.csv.
///
/// throws InputError if a file is missing or damaged beyond a line, if wall.yaml belongs to a
/// picture
///        of another size, or if no position was measured.
[[nodiscard]] NightOfRun read_night(const RunFolder& run);

}  // namespace nightswing::tracker
