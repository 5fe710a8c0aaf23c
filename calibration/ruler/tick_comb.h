#pragma once

#include <array>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/ruler/stroke_band.h"

/// Counts equal divisions along a row of strokes.
namespace nightswing::calibration {

/// The running count of strokes along a band, whole numbers in the middle of bright gaps:
///   count(s) = (a z + b + e z^3) / (1 + c z),   z = (s - centre_px) / half_span_px
/// c is the perspective of one straight line (Hartley, Zisserman, section 2.2.4: five to three
/// parameters), e what the lens adds at lowest order. What the count counts (every division, every
/// fifth, a harmonic) is not decided here.
struct TickComb {
  double centre_px = 0.0;
  double half_span_px = 1.0;
  double a = 1.0;
  double b = 0.0;
  double c = 0.0;
  double e = 0.0;
  double from_px = 0.0;  ///< s over which the strokes keep the count
  double to_px = 0.0;
  double t_px = 0.0;      ///< where across the band it was found
  double strength = 0.0;  ///< share of the profile's variance at its best place
};

[[nodiscard]] double count_at(const TickComb& comb, double s_px);

/// d count / d s [1/px].
[[nodiscard]] double counts_per_px(const TickComb& comb, double s_px);

/// The combs that a band holds, the strongest first, at most three of different period.
///   Start: in windows of 256 px the profile is resampled for a grid of perspectives and
///   transformed (Fourier); the strongest line of all wins. From there the count is carried
///   outwards by the phase of the profile in windows of 8 divisions, as a phase-locked loop does,
///   but with the one curve above fitted to all phases so far; so a gap without strokes is passed
///   over by the curve and the count goes on behind it.
/// values  CV_32F.
[[nodiscard]] std::vector<TickComb> find_combs(const cv::Mat& values, const StrokeBand& band);

}  // namespace nightswing::calibration
