#pragma once

#include <span>
#include <vector>

#include "analysis/positions/swing_series.h"

namespace nightswing::analysis {

/// A position of the spot on the wall, in readings of the scale, with the standard uncertainties of
/// this one reading (what all readings share, such as an error of the scale, is not in them).
struct WallSample {
  double t_s;
  double x_mm;
  double y_mm;
  double u_x_mm;
  double u_y_mm;
};

/// The straight line that the spot runs on. A position along it is
///   s = x0 + (x - x0) cos(tilt) + (y - y0) sin(tilt),
/// so that it agrees with the reading x of the scale in the middle of the path and differs
/// elsewhere only because the path is not parallel to the ruler. x grows with s.
struct SpotPath {
  double x0_mm = 0.0;
  double y0_mm = 0.0;
  double tilt_rad = 0.0;
};

/// Principal axis of the positions (total least squares). With fewer than two different positions,
/// or none that spread more along than across, the path is taken parallel to the ruler.
[[nodiscard]] SpotPath fit_path(std::span<const WallSample> samples);

/// The positions along the path.
[[nodiscard]] std::vector<SwingSample> along_path(const SpotPath& path,
                                                  std::span<const WallSample> samples);

}  // namespace nightswing::analysis
