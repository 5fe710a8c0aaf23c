#pragma once

#include <array>
#include <span>
#include <vector>

#include "analysis/positions/period_scan.h"
#include "analysis/positions/swing_series.h"
#include "analysis/quantities/measured.h"

namespace nightswing::analysis {

/// A swing of fewer standard uncertainties is none.
inline constexpr double kSwingSigmas = 5.0;

/// The joint swing by robust least squares: where the likelihood fit starts, and the answer that
/// its own is compared with.
struct LeastSquaresSwing {
  struct Parameters {
    std::array<double, 2> swing{};             ///< w [rad/s], g [1/s]
    std::array<double, 2> levels{};            ///< plus, minus [mm]
    std::array<double, 2> drift{};             ///< Legendre terms of order 1 and 2 [mm]
    std::vector<std::array<double, 2>> waves;  ///< c, s [mm] of each segment
  };
  bool converged = false;
  bool swings = false;  ///< some segment does by more than kSwingSigmas
  Parameters parameters;
  std::vector<Segment> segments;  ///< as fitted
  double residual_rms_mm = 0.0;
  /// plus - minus, u allowing for residuals that are alike over a period (noise.h): too narrow
  /// when the torque is noisy. No side, no shift: 0.
  Measured shift_mm{0.0, 0.0};
  /// The same as if the residuals were independent.
  Measured independent_shift_mm{0.0, 0.0};

  /// The fitted position in segment k.
  [[nodiscard]] double position_mm(double t_s, std::size_t k) const;
};

/// Fits all segments together, by Ceres with analytic derivatives and soft-L1 loss:
///   x(t) = e(side) + drift(t) + exp(-g (t - t_k)) (c_k cos w(t - t_k) + s_k sin w(t - t_k)),
/// t_k the start of segment k; e(plus), e(minus), g, w shared (times each segment's ratio); drift a
/// polynomial without constant term.
///   samples   time-ordered; those outside every segment are ignored
///   segments  time-ordered, without overlap, sides plus and minus only
///   returns   not converged if there are too few samples or the optimiser gave up
[[nodiscard]] LeastSquaresSwing least_squares_swing(std::span<const SwingSample> samples,
                                                    std::span<const Segment> segments,
                                                    const SwingStart& start,
                                                    int drift_order);

}  // namespace nightswing::analysis
