#pragma once

#include <span>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/gravity.h"
#include "analysis/positions/swing_series.h"

/// What a wide swing does beside a harmonic one. The pull of the source masses is no straight line
/// over the travel of the boom, so that the middle of a wide swing lies off the equilibrium and its
/// period is not that of a narrow one. While the swing dies away that looks like a drift.
namespace nightswing::analysis {

/// The restoring torque about an equilibrium:
///   torque = -I w0^2 (d + quadratic d^2 + cubic d^3),  d from the equilibrium.
struct PullCurvature {
  double quadratic = 0.0;  ///< 1/rad, or 1/mm
  double cubic = 0.0;      ///< 1/rad2, or 1/mm2
};

/// The curvature on a side whose places are known, per radian of the boom towards plus: by
/// differences of the analytic slope of the torque model, 5 mrad apart, so good to a part in 1,000.
/// Needs a computed G.
[[nodiscard]] PullCurvature pull_curvature(const Apparatus& apparatus,
                                           Side side,
                                           const GravityResult& gravity);

/// How far a wide swing about one equilibrium lies off the damped harmonic swing that goes with it:
///   x - x_harmonic = A cos(phi + psi) - A cos(phi) - (b2/2) A^2 + (b2/6) A^2 cos(2 phi)
///                    + (b2^2/48 + b3/32) A^3 cos(3 phi),
///   psi = w (3 b3/8 - 5 b2^2/12) A0^2 (1 - exp(-2 gamma t))/(2 gamma),
/// with A = A0 exp(-gamma t) and phi of the harmonic swing that fits a segment best (least squares,
/// with a level and a slope of its own).
/// source     Landau, Lifshitz: Mechanics, 3rd ed. 1976, section 28 (from memory; the tests compare
///            with a numerical integration), with the amplitude taken to change slowly
class WideSwing {
 public:
  /// Of nothing: no departure.
  WideSwing() = default;
  /// curvature  in the unit of the samples
  /// A segment too short to tell a swing has no departure.
  WideSwing(std::span<const SwingSample> segment,
            double period_s,
            double damping_per_s,
            const PullCurvature& curvature);

  /// At a time of the segment, or a part of a period beside it.
  [[nodiscard]] double departure_mm(double t_s) const;
  [[nodiscard]] double departure_mm_per_s(double t_s) const;

 private:
  double start_s_ = 0.0;
  double omega_ = 0.0;
  double damping_per_s_ = 0.0;
  double amplitude_mm_ = 0.0;
  double phase_rad_ = 0.0;
  PullCurvature curvature_{};
};

}  // namespace nightswing::analysis
