#pragma once

#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"
#include "tracker/report/canvas.h"

namespace nightswing::tracker {

enum class FilmSize {
  k1080p,   ///< 1920 x 1080, the picture enlarged or reduced to fit
  kSource,  ///< the picture pixel for pixel, with the panel and the plot beside it
};

/// Where things stand in a frame of the film: the picture of the wall top left, a panel right of
/// it, the plot below. Lengths are pixels of the film; a point is one of them.
struct FilmLayout {
  int width_px;
  int height_px;
  cv::Rect picture;
  PaperBox panel;
  PaperBox plot;
  double scale;  ///< pixels of the film for one of the source
  double text;   ///< factor on the sizes of letters and lines, 1 for 1080 rows

  /// The place in the film of a pixel of the source, whose centre is a whole number.
  [[nodiscard]] PaperPoint at(calibration::PixelPoint p) const {
    return {picture.x + (p.x_px + 0.5) * scale, picture.y + (p.y_px + 0.5) * scale};
  }
};

[[nodiscard]] FilmLayout film_layout(cv::Size source, FilmSize size);

}  // namespace nightswing::tracker
