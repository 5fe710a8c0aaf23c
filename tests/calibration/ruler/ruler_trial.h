#pragma once

#include <cstdint>
#include <string>

#include "calibration/ruler/ruler_reader.h"
#include "tests/calibration/ruler/rendered_ruler.h"

/// One rendered view of a ruler of random make, pose and light, read without help.
namespace nightswing::test {

/// The view and what was drawn in it.
struct RulerView {
  RulerLook look;
  RulerCamera camera;
  RulerLight light;
  double division_px = 0.0;  ///< median length of a division in the picture
  double from_mm = 0.0;      ///< first and last tick in the picture, of 2.5 px a division at least
  double to_mm = 0.0;
};

/// Obliqueness to 45 degrees in any direction, roll to 15 degrees, k1 to 0.05, blur 0.5 to 2 px,
/// noise 1 to 6 gray values, exposure 0.4 to 1.2, rulers of 150 mm to 1 m, 2.5 to 9 px a division;
/// one in four is an inch ruler.
RulerView random_ruler_view(std::uint64_t seed);

cv::Mat render(const RulerView& view);

struct RulerTrial {
  calibration::RulerReading reading;
  /// Of the displacement over the middle 60 % of the visible ruler (of the part read, if that is
  /// less than 60 % of it), on a path 20 mm above its edge.
  double scale_error = 0.0;   ///< relative
  double pull = 0.0;          ///< error over stated uncertainty
  bool partial = false;       ///< less than 60 % of the visible ruler was read
  bool wrong_period = false;  ///< off by more than 2 %, or the wrong division named
};

/// Compares a reading with the truth of its view.
RulerTrial judge(const RulerView& view, const calibration::RulerReading& reading);

}  // namespace nightswing::test
