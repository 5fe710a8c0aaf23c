#pragma once

#include <optional>
#include <vector>

#include "calibration/map/spaces.h"
#include "tracker/report/shown_night.h"

namespace nightswing::tracker {

/// Where readings of the scale lie in the calibrated picture, along the path of the spot: a
/// projective map in one dimension, px = (a x + b)/(c x + 1) for both coordinates, fitted to the
/// pixels that the spot was seen at. It needs no knowledge of how the wall was mapped and holds
/// beyond the travel too, because a straight line on a flat wall is seen so.
class PathInPicture {
 public:
  /// Nothing if the spot did not travel (less than 1 mm).
  [[nodiscard]] static std::optional<PathInPicture> of(const std::vector<ShownSample>& samples);

  [[nodiscard]] calibration::PixelPoint at(double x_mm) const;
  /// Unit vector along the path at that reading, in the picture.
  [[nodiscard]] calibration::PixelPoint direction(double x_mm) const;
  [[nodiscard]] double from_mm() const { return from_mm_; }  ///< ends of the travel
  [[nodiscard]] double to_mm() const { return to_mm_; }

 private:
  double middle_mm_ = 0.0;
  double half_mm_ = 1.0;
  double from_mm_ = 0.0;
  double to_mm_ = 0.0;
  double ax_ = 0.0;
  double bx_ = 0.0;
  double ay_ = 0.0;
  double by_ = 0.0;
  double c_ = 0.0;
};

/// A reading to be written beside the path.
struct PathMark {
  double x_mm;
  bool labelled;
};

/// Every 10 mm over the travel and a little more, every fifth one labelled.
[[nodiscard]] std::vector<PathMark> path_marks(const PathInPicture& path);

}  // namespace nightswing::tracker
