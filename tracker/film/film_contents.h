#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tracker/report/path_in_picture.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/track_file.h"
#include "tracker/wall/camera_correction.h"

namespace nightswing::tracker {

/// One frame of the night, as the film shows it.
struct FilmMoment {
  double t_s;
  SpotState state;
  std::optional<SpotPosition> spot;  ///< in the stored picture; only if measured
  std::optional<double> x_mm;        ///< reading of the scale, along the path
};

struct FilmSegment {
  std::string side;
  double from_s;
  double to_s;
  double equilibrium_mm;
};

struct FilmSide {
  double t_s;  ///< from here on
  std::string side;
};

struct FilmCaption {
  double t_s;
  std::string text;
};

/// What the film shows, read from the run folder: the track through its map, the sides from
/// events.csv (unless the analysis went by others), equilibria and G from result.json where it is
/// there.
struct FilmContents {
  RunInfo info;
  std::string title;
  std::vector<FilmMoment> moments;  ///< in order of time; at least one with a position
  std::vector<FilmSegment> segments;
  std::vector<FilmSide> sides;
  std::vector<FilmCaption> captions;
  std::string g_text;    ///< empty without G
  bool blinded = false;  ///< G carries a hidden factor
  std::optional<PathInPicture> path;
  std::optional<CameraCorrection> camera;

  /// Where a place of the calibrated picture is in the frame at t, if the camera has moved.
  [[nodiscard]] calibration::PixelPoint in_frame(double t_s, calibration::PixelPoint p) const;
};

/// throws InputError as read_night.
[[nodiscard]] FilmContents film_contents(const RunFolder& run);

}  // namespace nightswing::tracker
