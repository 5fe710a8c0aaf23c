#pragma once

#include <vector>

#include "tracker/report/shown_night.h"

namespace nightswing::tracker {

/// One bar of the distribution of the residuals, and how many a normal distribution of the same
/// mean and width would put there.
struct ResidualBin {
  double from_mm;
  double to_mm;
  long count;
  double normal_count;
};

/// Bars of half a standard deviation from -4.5 to 4.5 of them; the outermost take what lies beyond.
/// Empty without residuals.
[[nodiscard]] std::vector<ResidualBin> residual_distribution(const ShownNight& night);

/// The same normal distribution as a curve, in readings per bar; a point every twentieth of a bar.
struct NormalPoint {
  double residual_mm;
  double readings;
};
[[nodiscard]] std::vector<NormalPoint> normal_curve(const std::vector<ResidualBin>& bins);

struct LagCorrelation {
  double lag_s;
  double correlation;  ///< -1 to 1
  long pairs;
};

/// Autocorrelation of the residuals against their distance in time, in steps of the usual time
/// between readings (or more, so that there are at most 400), up to two periods of the swing. Pairs
/// are sorted into steps by their true distance, so that gaps do no harm (slotted estimate: Edelson
/// and Krolik, Astrophys. J. 333 (1988) 646, with the mean taken out once). Empty without
/// residuals.
[[nodiscard]] std::vector<LagCorrelation> residual_autocorrelation(const ShownNight& night);

/// A reading of the swing folded onto one period.
struct FoldedReading {
  double phase;     ///< 0 to 1; the swing is largest towards growing readings at 0
  double relative;  ///< distance from rest over the amplitude that the damping leaves
  bool plus;
};

/// All readings in the fit, each segment by its own rest position, amplitude and phase. Segments
/// that hardly swing (less than ten times the scatter) are left out, and those with the sources
/// away, which swing with another period.
[[nodiscard]] std::vector<FoldedReading> folded_swing(const ShownNight& night);

/// Mean over one period of what is left when the swing and the side's rest position are taken away.
struct DriftPoint {
  double t_s;
  double fitted_mm;  ///< the drift by the fit, 0 in the middle of the night
  double offset_mm;  ///< the same and the mean residual
};
[[nodiscard]] std::vector<DriftPoint> drift_points(const ShownNight& night);

}  // namespace nightswing::tracker
