#pragma once

#include <array>
#include <vector>

#include <opencv2/core.hpp>

namespace nightswing::demo {

/// The paper scale taped to the wall, in its own printed millimetres (x along the ruler, y up):
/// square markers of the open dictionary DICT_4X4_100, 24 mm, in columns 40 mm apart, the lower row
/// centred at y = -30 (ids 2k), the upper at y = +80 (ids 2k + 1), the first column at x = 20;
/// a ruler with its base line at y = 0 and ticks downwards (3, 5, 8 mm at each 1, 5, 10 mm); white
/// paper from y = -45 to y = +95. Pages are six columns long.
class PrintedScale {
 public:
  explicit PrintedScale(int columns);

  static constexpr double kBottomMm = -45, kTopMm = 95;
  [[nodiscard]] double length_mm() const { return 40.0 * columns_; }

  /// Black (1) or white (0) at a point of the paper; in between only at the page seam.
  [[nodiscard]] double ink(double x_mm, double y_mm) const;

  /// The four outer corners of a marker in printed mm: top left, top right, bottom right, bottom
  /// left as it hangs.
  [[nodiscard]] static std::array<cv::Point2d, 4> marker_corners_mm(int id);

 private:
  [[nodiscard]] bool marker_ink(double x_mm, double y_mm) const;
  [[nodiscard]] bool numeral_ink(double x_mm, double y_mm) const;

  int columns_;
  std::vector<cv::Mat> markers_;  // 6 x 6 cells each, 0 is black
  cv::Mat numerals_;              // strip below the ticks, 255 is ink
};

/// Whether a ruler with ticks at whole millimetres has ink at a point that lies `depth_mm` beyond
/// its base line; lengths are those of the ticks at each 1, 5 and 10 mm.
[[nodiscard]] bool tick_ink(double x_mm,
                            double depth_mm,
                            double line_mm,
                            const std::array<double, 3>& lengths_mm);

/// The numbers 0, 10, 20, ... short of the end, centred at their places, as a strip of `px_per_mm`
/// with ink = 255.
[[nodiscard]] cv::Mat numeral_strip(double length_mm, double height_mm, double px_per_mm);

}  // namespace nightswing::demo
