#include "tracker/film/film_layout.h"

#include <algorithm>
#include <cmath>

namespace nightswing::tracker {
namespace {

// Three quarters of the width and of the height are the picture's.
constexpr double kPictureShare = 0.75;

/// The next even number that is not below: yuv420p knows no odd lengths.
int even(double length) {
  return 2 * static_cast<int>(std::ceil(0.5 * length - 1e-9));
}

}  // namespace

FilmLayout film_layout(cv::Size source, FilmSize size) {
  FilmLayout layout{.width_px = 1920,
                    .height_px = 1080,
                    .picture = {},
                    .panel = {},
                    .plot = {},
                    .scale = 1.0,
                    .text = 1.0};
  int room_x = even(kPictureShare * layout.width_px);
  int room_y = even(kPictureShare * layout.height_px);
  if (size == FilmSize::kSource) {
    room_x = even(source.width);
    room_y = even(source.height);
    layout.width_px = even(room_x / kPictureShare);
    layout.height_px = even(room_y / kPictureShare);
  } else {
    layout.scale = std::min(1.0 * room_x / source.width, 1.0 * room_y / source.height);
  }
  layout.text = layout.height_px / 1080.0;
  const int wide = std::min(room_x, static_cast<int>(std::lround(layout.scale * source.width)));
  const int high = std::min(room_y, static_cast<int>(std::lround(layout.scale * source.height)));
  layout.picture = {(room_x - wide) / 2, (room_y - high) / 2, wide, high};
  const double below = layout.height_px - room_y;
  layout.panel = {1.0 * room_x, 0.0, 1.0 * layout.width_px - room_x, 1.0 * room_y};
  layout.plot = {0.0, 1.0 * room_y, 1.0 * layout.width_px, below};
  return layout;
}

}  // namespace nightswing::tracker
