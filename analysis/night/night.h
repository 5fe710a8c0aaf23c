#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/gravity.h"
#include "analysis/balance/gravity_monte_carlo.h"
#include "analysis/night/second_opinions.h"
#include "analysis/night/source_move.h"
#include "analysis/positions/side_changes.h"
#include "analysis/positions/spot_path.h"
#include "analysis/positions/wall_doubt.h"
#include "analysis/quantities/measured.h"
#include "analysis/quantities/uncertainty_budget.h"
#include "analysis/swing/swing_fit.h"

/// The whole way from a night's positions on the wall to G.
namespace nightswing::analysis {

/// What was watched in one night.
struct Night {
  std::vector<WallSample> samples;  ///< time-ordered
  /// When the source masses went where, time-ordered. Empty: to be found from the track.
  std::vector<SideChange> sides;
  /// What the map of the wall leaves in doubt; without it the map is taken as exact.
  WallDoubtOf wall_doubt{};
};

struct NightOptions {
  /// Left out after each move of the sources [s]: they are still under way and stir the air.
  double settle_s = 60.0;
  /// Trials of the Monte Carlo run at least; 0 for none.
  std::size_t monte_carlo_trials = 100000;
};

enum class NightStatus {
  kMeasured,
  kNoShift,      ///< no move in the track, or a shift below four of its uncertainties: no G
  kNoSwing,      ///< no swing, hence no period: no G
  kTooShort,     ///< a side was watched for less than one period: no G
  kNotFitted,    ///< the fit failed: no G
  kMassesTouch,  ///< the findings contradict the apparatus: no G
};

/// A shift of fewer standard uncertainties is none.
inline constexpr double kShiftSigmas = 4.0;
[[nodiscard]] bool shift_is_clear(const Measured& shift_mm);

/// `measured`, `no shift found`, ...: the word in result.json.
[[nodiscard]] std::string_view name_of(NightStatus status);

/// A segment as reported: positions are readings of the scale.
struct SegmentResult {
  Segment segment;
  Measured equilibrium_mm;   ///< in the segment's middle, drift included
  double without_drift_mm;   ///< of its side, in the middle of the night
  double drift_mm_per_hour;  ///< slope in the segment's middle
  double amplitude_from_mm;
  double amplitude_to_mm;
  double periods;
  std::size_t used;
};

struct NightResult {
  NightStatus status = NightStatus::kNotFitted;
  std::string message;                 ///< one sentence: what was found, or why there is no G
  std::string sides_from;              ///< where the sides are from, a sentence
  std::vector<SideChange> sides;       ///< as used
  std::vector<std::string> warnings;   ///< a sentence each, such as a segment left out
  bool marks_doubted = false;          ///< by moves that the track shows; a warning says which
  std::vector<double> disturbances_s;  ///< breaks of the swing found in the track
  SpotPath path;
  SwingFit fit;  ///< in straightened mm, see optical_lever.h
  std::vector<SegmentResult> segments;
  std::vector<SourceMove> moves;  ///< between plus and minus, straightened mm; only if measured
  /// Taken off the positions before the final fit, see wide_swing.h: the farthest that the uneven
  /// pull put a wide swing off a harmonic one, and what that changed the shift by.
  double wide_swing_mm = 0.0;
  double wide_swing_shift_mm = 0.0;
  Measured shift_mm{0.0, 0.0};  ///< plus - minus on the wall, true mm; fit, map and scale
  Measured least_squares_shift_mm{0.0, 0.0};  ///< the same by least squares; u of the fit alone
  Measured deflection_rad{0.0, 0.0};          ///< rotation of the boom from midway to one side
  std::optional<GravityResult> gravity;       ///< only if measured
  std::optional<UncertaintyBudget> budget;
  /// G -+ t95 u with the effective degrees of freedom (JCGM 100:2008, G.6.4); only if measured.
  Interval interval_95{0.0, 0.0};
  std::optional<GravityMonteCarlo> monte_carlo;
  Consistency consistency;  ///< G by other ways; only if measured
  bool blinded = false;     ///< every G here carries a hidden factor (blinding.h)
};

/// Segments between the moves, each cut by `settle_s` at its start.
[[nodiscard]] std::vector<Segment> segments_between(const std::vector<SideChange>& sides,
                                                    double end_s,
                                                    double settle_s);

/// Path, sides, joint swing fit, rotation, G and its budget. Each segment is cut to the first and
/// last position measured in it; one with fewer than eight, or shorter than a tenth of a period, is
/// left out, with a warning.
/// throws InputError if the sides given leave no segment or only one side, or there are too few
///        positions. Anything that the night itself lacks is a status.
[[nodiscard]] NightResult analyse_night(const Night& night,
                                        const Apparatus& apparatus,
                                        const NightOptions& options = {});

}  // namespace nightswing::analysis
