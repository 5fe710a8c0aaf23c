#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/positions/period_scan.h"
#include "analysis/swing/least_squares_swing.h"
#include "analysis/swing/swing_track.h"

/// What the likelihood fit of swing_fit.h starts from.
namespace nightswing::analysis {

/// A scatter below this is rounding: the track was made without noise.
inline constexpr double kNoiseless_mm = 1e-9;

/// A night's segments and samples on their way through the fit.
struct PreparedSwing {
  std::vector<Segment> segments;
  std::vector<PlacedSample> samples;
  LeastSquaresSwing least_squares;
  std::vector<double> first_reading_s;  ///< of each segment
  double origin_mm = 0.0;  ///< taken off all positions: sums of squares keep their digits
};

/// Why these positions do not carry a fit; empty if they do.
[[nodiscard]] std::string too_few_to_fit(std::span<const PlacedSample> samples,
                                         std::span<const Segment> segments);

/// The least-squares swing of the samples, thinned, near segments only.
///   drift_order  default: 1, from four near segments on 2
[[nodiscard]] LeastSquaresSwing least_squares_start(const PreparedSwing& prepared,
                                                    const SwingStart& start,
                                                    std::optional<int> drift_order);

/// Takes out what lies more than 5 robust standard deviations from the running median of the
/// least-squares residuals.
///   returns  the times of what was taken out [s]
[[nodiscard]] std::vector<double> take_out_false_readings(PreparedSwing& prepared);

}  // namespace nightswing::analysis
