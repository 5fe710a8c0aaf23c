#include "calibration/scale/printed_scale.h"

#include <stdexcept>
#include <string>

namespace nightswing::calibration {
namespace {

std::array<WallPoint, 4> square_corners(WallPoint centre, double side_mm) {
  const double left_mm = centre.x_mm - side_mm / 2.0;
  const double right_mm = centre.x_mm + side_mm / 2.0;
  const double top_mm = centre.y_mm + side_mm / 2.0;
  const double bottom_mm = centre.y_mm - side_mm / 2.0;
  return {{{left_mm, top_mm}, {right_mm, top_mm}, {right_mm, bottom_mm}, {left_mm, bottom_mm}}};
}

}  // namespace

int marker_column(int id) {
  if (id < 0 || id >= kMarkerCount) {
    throw std::invalid_argument("the printed scale has no marker " + std::to_string(id));
  }
  return id / 2;
}

WallPoint marker_centre(int id) {
  const double x_mm = kFirstColumn_mm + kColumnPitch_mm * marker_column(id);
  return {x_mm, id % 2 == 0 ? kLowerRow_mm : kUpperRow_mm};
}

std::array<WallPoint, 4> marker_corners(int id) {
  return square_corners(marker_centre(id), kMarkerSide_mm);
}

std::array<WallPoint, 4> field_corners(int id) {
  return square_corners(marker_centre(id), kMarkerSide_mm - 2.0 * kMarkerCell_mm);
}

double tick_length_mm(int x_mm) {
  if (x_mm < 0) throw std::invalid_argument("the ruler has no tick at a negative millimetre");
  if (x_mm % 10 == 0) return 8.0;
  return x_mm % 5 == 0 ? 5.0 : 3.0;
}

}  // namespace nightswing::calibration
