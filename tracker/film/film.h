#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "tracker/film/film_contents.h"
#include "tracker/film/film_layout.h"
#include "tracker/run/run_folder.h"

namespace nightswing::tracker {

struct FilmRequest {
  RunFolder run;
  double seconds = 60.0;  ///< length, cards included
  std::string title{};    ///< empty: that of the apparatus
  std::vector<FilmCaption> captions{};
  std::filesystem::path output;
  std::filesystem::path video{};  ///< empty: the source that run.yaml names
  bool drawn = false;             ///< draw the wall even where the video is there
  FilmSize size = FilmSize::k1080p;
  bool quiet = false;
};

struct FilmSummary {
  long frames = 0;
  int width_px = 0;
  int height_px = 0;
  std::string picture;  ///< where the pictures are from, in words
};

/// The night as a film: the picture of the wall with the spot marked, its trail, millimetres and
/// equilibria; clock, side of the sources, and the plot below growing with the night. Film and
/// night run in proportion; each frame of the film shows the latest picture of its moment.
/// throws InputError for a video that is not there or not that of the run, a run without positions,
///        or a disk that refuses.
[[nodiscard]] FilmSummary make_film(const FilmRequest& request);

}  // namespace nightswing::tracker
