#pragma once

#include <optional>
#include <span>

#include "analysis/night/wide_swing.h"
#include "analysis/positions/swing_series.h"
#include "analysis/quantities/measured.h"
#include "analysis/swing/swing_fit.h"

namespace nightswing::analysis {

/// What the track shows of one move of the source masses, from half a period before it and half a
/// period after it alone. Place and speed of the spot go on across the move; what changes at once
/// is the acceleration, by w0^2 times the shift of the rest position, and the spot falls away from
/// where it would have been as
///   shift (1 - exp(-g s) (cos w s + (g/w) sin w s)) = w0^2 shift s^2/2 + ...,  s since the move.
/// The rest position afterwards need not be known. The fit of all segments (swing_fit.h) does not
/// use that place and speed go on, so that the two have little in common but the readings near the
/// move.
struct SourceMove {
  Segment before;
  Segment after;
  Measured t_s;       ///< when the pull changed: of a gradual move about its middle
  Measured shift_mm;  ///< of the rest position, after less before
  /// The change of acceleration [mm/s^2] of a spot midway between the rest positions (anywhere, if
  /// the sides swing alike): the mean w0^2 times the shift. Its u with that of period and damping.
  Measured acceleration_mm_per_s2;
};

/// Fits the move between segments k and k + 1 of a converged fit: generalised least squares on
/// averages over T/200, with the noise, kicks, drift, period and damping that the fit of the night
/// found; the time of the move by Gauss and Newton from the best of a scan.
///   series     straightened positions, time-ordered
///   fit        of the same series
///   k          both segments near the boom
///   reach_s    how far outside the gap between the segments the move may lie
///   taken_off  what was taken off each segment of the series because its swing was wide; if none
///              is given, nothing was. Place and speed go on with it, not without: left out of
///              account it makes the shift of a swing as wide as itself 1e-4 to 3e-4 too large
///   returns    nothing if less than a fifth of a period was watched before or after the move, or
///              the best time lies at the end of the reach: then the spot did not start to fall
///              there
[[nodiscard]] std::optional<SourceMove> fit_source_move(std::span<const SwingSample> series,
                                                        const SwingFit& fit,
                                                        std::size_t k,
                                                        double reach_s,
                                                        std::span<const WideSwing> taken_off = {});

}  // namespace nightswing::analysis
