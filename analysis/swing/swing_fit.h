#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "analysis/positions/period_scan.h"
#include "analysis/positions/swing_series.h"
#include "analysis/quantities/measured.h"
#include "analysis/swing/swing_search.h"

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
  double drift_mm_per_hour = 0.0;  ///< slope there
  double amplitude_from_mm = 0.0;  ///< of the swing at the segment's start
  double u_amplitude_from_mm = 0.0;
  double amplitude_to_mm = 0.0;  ///< and at its last reading
  double periods = 0.0;
  std::size_t used = 0;  ///< samples in the fit
};

/// What was found of the noise.
struct SwingNoise {
  double white_mm = 0.0;   ///< standard deviation of one sample, independent of the others
  double torque_mm = 0.0;  ///< r.m.s. of the swing that the torque noise alone keeps up
  SlowNoise slow = SlowNoise::kNone;
  double slow_mm = 0.0;      ///< r.m.s. of the slow noise of the readings
  double slow_memory = 0.0;  ///< in s, or in mm of travel
};

/// The filter with its most likely parameters, as it stands after the last reading: for going on
/// with readings that came later (running_filter.h).
struct FittedFilter {
  FilterTrack track;  ///< positions less `origin_mm`
  FilterLayout layout;
  std::vector<double> x;
  SwingModel model;
  std::vector<Segment> segments;
  double origin_mm = 0.0;
  double white_variance_mm2 = 0.0;  ///< of a reading whose variance_ratio is 1
  double mean_square_u_mm2 = 0.0;   ///< u_mm^2 of such a reading
  double reading_s = 0.0;           ///< samples were averaged over so long
};

/// All segments fitted at once.
struct SwingFit {
  FitStatus status = FitStatus::kNotConverged;
  std::string message = "not fitted";

  std::vector<SegmentSwing> segments;
  /// Rest positions of plus and minus in the middle of the night (drift taken out), period of the
  /// damped swing beside the sources (where the ratio is 1) and its damping; their joint covariance
  /// in this order [mm, mm, s, 1/s]. A side that the night does not have is 0 with no variance: see
  /// `has_both_sides`.
  Measured plus_mm{0.0, 0.0};
  Measured minus_mm{0.0, 0.0};
  Measured period_s{0.0, 0.0};
  Measured damping_per_s{0.0, 0.0};
  Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero();
  /// Of u(shift): how well the noise itself is known.
  double degrees_of_freedom = 0.0;
  bool has_both_sides = false;
  /// The same with the sources away, if the night has such a segment.
  std::optional<Measured> away_mm;
  std::optional<Measured> away_period_s;
  /// From midway between both sides to the rest position with the sources away, towards plus; if
  /// the night has all three.
  std::optional<Measured> away_from_midway_mm;

  Measured shift_mm{0.0, 0.0};           ///< plus - minus
  Measured drift_mm_per_hour{0.0, 0.0};  ///< slope in the middle of the night
  std::string drift_name;                ///< linear, quadratic, ...
  double residual_rms_mm = 0.0;          ///< r.m.s. of residuals_mm
  SwingNoise noise;
  std::vector<Kick> kicks;
  /// What robust least squares makes of the shift. A difference of several u is a warning.
  Measured least_squares_shift_mm{0.0, 0.0};
  /// How many times wider u(shift) is than least squares with independent residuals would say.
  double correlation_widening = 1.0;
  std::vector<double> left_out_s;  ///< times of the samples taken for false readings
  /// Time of each sample in the fit, and the sample less what was foretold for it from those
  /// before it, all rest positions, period and damping being known: white if the model of the noise
  /// is right.
  std::vector<double> fitted_t_s;
  std::vector<double> residuals_mm;
  std::optional<FittedFilter> filter;  ///< if the fit has numbers
};

struct SwingFitOptions {
  /// Order of the drift polynomial, 0 to 3. Default: chosen by evidence, at least 1. With 0 a
  /// balance that drifts by 1 mm/h gets a shift wrong by about that much.
  std::optional<int> drift_order;
};

/// Fits all segments together by maximum (restricted) likelihood as one oscillator that is driven
/// by random torque, read with white and slow noise, about a rest position that depends on the side
/// and drifts (swing_filter.h). The swing need not have died: one to two periods a side are enough.
/// The steps: robust least squares (least_squares_swing.h) for the start; false readings left out
/// by name, beyond 5 robust standard deviations from its residual's running median; samples
/// averaged over T/100; the model chosen (swing_search.h); short disturbances left out by their
/// smoothed error, beyond 5; the likelihood maximised; uncertainties averaged over the level of the
/// torque noise (swing_uncertainty.h). Away segments have a rest position and a frequency of their
/// own; plus and minus share theirs, each times the ratio that its segments carry.
///   samples   time-ordered; those outside every segment are ignored
///   segments  time-ordered, without overlap
///   start     from scan_period
///   returns   uncertainties k = 1
///   throws    std::invalid_argument for no segment at all
///   time      about a second for 12 hours, whatever the frame rate
[[nodiscard]] SwingFit fit_swing(std::span<const SwingSample> samples,
                                 std::span<const Segment> segments,
                                 const SwingStart& start,
                                 const SwingFitOptions& options = {});

}  // namespace nightswing::analysis
