#pragma once

#include <complex>
#include <span>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/ruler/stroke_band.h"
#include "calibration/ruler/tick_comb.h"

/// Straightens a row of strokes: whole numbers are ticks, all ticks of one kind equally long.
namespace nightswing::calibration {

/// Coordinates on the ruler: x counts divisions, h [px] goes along the ticks and is scaled with the
/// perspective, so that lines parallel to the ruler have h = const. In the picture these all meet
/// in one point of t = 0, where the count's 1 + c z vanishes; so h = t / (1 + c z), up to a factor
/// that makes it 1 in the middle. ds/dx goes with the square of 1 + c z.
class TickGrid {
 public:
  /// Tick i lies where the comb counts step * (i + offset).
  TickGrid(const StrokeBand& band, const TickComb& comb, double step, double offset);

  [[nodiscard]] cv::Point2d pixel_at(double x, double h_px) const;
  /// Divisions that the comb reaches over: first and last tick.
  [[nodiscard]] int first() const { return first_; }
  [[nodiscard]] int last() const { return last_; }
  [[nodiscard]] int count() const { return last_ - first_ + 1; }
  /// Median length of a division [px].
  [[nodiscard]] double division_px() const { return division_px_; }
  [[nodiscard]] double s_px(double x) const;
  /// The same ruler with ticks counted otherwise: new tick i at step * (i + offset) of these.
  [[nodiscard]] TickGrid recounted(double step, double offset) const;
  [[nodiscard]] TickGrid with_band(const StrokeBand& band) const;
  /// Pixels of t for one of h.
  [[nodiscard]] double t_per_h(double x) const { return depth(s_px(x)); }
  [[nodiscard]] const StrokeBand& band() const { return band_; }
  [[nodiscard]] const TickComb& comb() const { return comb_; }

 private:
  [[nodiscard]] double depth(double s_px) const;

  StrokeBand band_;
  TickComb comb_;
  double step_;
  double offset_;
  int first_ = 0;
  int last_ = 0;
  double division_px_ = 0.0;
  double middle_depth_ = 1.0;
};

/// The picture in these coordinates: rows h = -reach_px .. reach_px in steps of one pixel, columns
/// in steps of 1 / per_division from x = first - 1/2 on. CV_32F; NaN outside the picture.
[[nodiscard]] cv::Mat straightened(const cv::Mat& values,
                                   const TickGrid& grid,
                                   int reach_px,
                                   int per_division);

/// The band with lean and edge of its strokes corrected:
///   lean  lets them stand in line best from row to row, where the comb was found;
///   edge  lets the rows in which they stand begin and end alike along the ruler.
[[nodiscard]] StrokeBand aligned(const cv::Mat& values,
                                 const StrokeBand& band,
                                 const TickComb& comb);

/// Sum of the values of a straightened row, from the given one on, each times the wave's at its
/// place; what the picture does not show (NaN) adds nothing.
[[nodiscard]] std::complex<double> part_along(std::span<const std::complex<double>> wave,
                                              const float* values);

}  // namespace nightswing::calibration
