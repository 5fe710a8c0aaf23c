#include "analysis/positions/spot_path.h"

#include <cmath>

namespace nightswing::analysis {
namespace {

constexpr double kRoundToParallel = 0.5;  // below this the cloud has no direction worth the name

}  // namespace

SpotPath fit_path(std::span<const WallSample> samples) {
  SpotPath path;
  if (samples.empty()) return path;
  const double n = static_cast<double>(samples.size());
  for (const WallSample& s : samples) {
    path.x0_mm += s.x_mm / n;
    path.y0_mm += s.y_mm / n;
  }
  double xx = 0.0;
  double xy = 0.0;
  double yy = 0.0;
  for (const WallSample& s : samples) {
    const double x = s.x_mm - path.x0_mm;
    const double y = s.y_mm - path.y0_mm;
    xx += x * x / n;
    xy += x * y / n;
    yy += y * y / n;
  }
  // Eigenvalues of the 2 x 2 scatter matrix: mean +- root.
  const double mean = 0.5 * (xx + yy);
  const double root = std::hypot(0.5 * (xx - yy), xy);
  if (root < kRoundToParallel * mean) return path;
  path.tilt_rad = 0.5 * std::atan2(2.0 * xy, xx - yy);  // in -pi/2..pi/2: the cosine is positive
  return path;
}

std::vector<SwingSample> along_path(const SpotPath& path, std::span<const WallSample> samples) {
  const double c = std::cos(path.tilt_rad);
  const double s = std::sin(path.tilt_rad);
  std::vector<SwingSample> series;
  series.reserve(samples.size());
  for (const WallSample& one : samples) {
    series.push_back(
        {.t_s = one.t_s,
         .x_mm = path.x0_mm + (one.x_mm - path.x0_mm) * c + (one.y_mm - path.y0_mm) * s,
         .u_mm = std::hypot(one.u_x_mm * c, one.u_y_mm * s)});
  }
  return series;
}

}  // namespace nightswing::analysis
