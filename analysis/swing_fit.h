#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "analysis/measured.h"
#include "analysis/period_scan.h"
#include "analysis/swing_series.h"

namespace nightswing::analysis {

enum class FitStatus {
  kConverged,
  kTooShort,      ///< some side was watched for less than one period: numbers given, not to be used
  kNoSwing,       ///< no segment swings by more than its uncertainty: the period means nothing
  kNotConverged,  ///< too few positions, or the optimiser gave up: no numbers, see the message
};

/// One segment of the joint fit.
struct SegmentSwing {
  Segment segment;
  Measured equilibrium_mm;         ///< rest position at the segment's middle, drift included
  double amplitude_from_mm = 0.0;  ///< of the swing at the segment's start
  double u_amplitude_from_mm = 0.0;
  double amplitude_to_mm = 0.0;  ///< and at its end
  double periods = 0.0;
  std::size_t used = 0;  ///< samples in the fit
};

/// All segments fitted at once.
struct SwingFit {
  FitStatus status = FitStatus::kNotConverged;
  std::string message = "not fitted";

  std::vector<SegmentSwing> segments;
  /// Rest positions of plus and minus in the middle of the night (drift taken out), period of the
  /// damped swing and its damping; their joint covariance in this order [mm, mm, s, 1/s].
  /// A side that the night does not have is 0 with no variance: see `has_both_sides`.
  Measured plus_mm{0.0, 0.0};
  Measured minus_mm{0.0, 0.0};
  Measured period_s{0.0, 0.0};
  Measured damping_per_s{0.0, 0.0};
  Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero();
  bool has_both_sides = false;

  Measured shift_mm{0.0, 0.0};           ///< plus - minus
  Measured drift_mm_per_hour{0.0, 0.0};  ///< slope in the middle of the night
  double residual_rms_mm = 0.0;          ///< scatter of one position about the fit
  /// How many times wider u(shift) is than it would be for independent residuals.
  double correlation_widening = 1.0;
  std::vector<double> left_out_s;  ///< times of the samples taken for false readings
  std::vector<double> fitted_t_s;  ///< time and residual of each sample in the fit
  std::vector<double> residuals_mm;
};

struct SwingFitOptions {
  /// Order of the drift polynomial, 0 to 2. Default: 1, from four segments on 2. With 0 a balance
  /// that drifts by 1 mm/h gets a shift wrong by about that much.
  std::optional<int> drift_order;
};

/// Fits all segments together:
///   x(t) = e(side) + drift(t) + exp(-g (t - t_k)) (c_k cos w(t - t_k) + s_k sin w(t - t_k)),
/// t_k the start of segment k; e(plus), e(minus), g, w shared; drift a polynomial without constant
/// term (order 1, from four segments on order 2). The swing need not have died: one to two periods
/// a side are enough. Robust first (soft-L1), false readings beyond 5 robust standard deviations
/// then left out by name, then plain least squares, all by Ceres with analytic derivatives.
///   samples   time-ordered; those outside every segment are ignored
///   segments  time-ordered, without overlap, sides plus and minus only
///   start     from scan_period
///   returns   uncertainties k = 1 that allow for correlated residuals (noise.h)
///   throws    std::invalid_argument for an `away` segment or no segment at all
[[nodiscard]] SwingFit fit_swing(std::span<const SwingSample> samples,
                                 std::span<const Segment> segments,
                                 const SwingStart& start,
                                 const SwingFitOptions& options = {});

}  // namespace nightswing::analysis
