#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/gravity.h"
#include "analysis/positions/period_scan.h"
#include "analysis/positions/position_history.h"
#include "analysis/positions/swing_series.h"
#include "analysis/quantities/measured.h"
#include "analysis/swing/running_filter.h"
#include "analysis/swing/swing_fit.h"

/// What a night has shown until now, while it is still watched.
namespace nightswing::analysis {

enum class RunningState {
  kTooFew,    ///< hardly any positions yet
  kNoSwing,   ///< no swing with any one period stands out from the scatter (yet)
  kTooShort,  ///< it swings, but no side was watched for a whole period yet
  kOneSide,   ///< period and equilibrium are known, the other side is missing or too short for a
              ///< shift
  kShift,     ///< the shift is known, however well
};

struct RunningOptions {
  double settle_s = 60.0;         ///< left out after each move, as in the analysis
  double target_relative = 0.01;  ///< the u of the shift that is wanted, over the shift
  /// Whose sides swing unlike, if their places say so; positions are readings of its scale then.
  /// Without it, and without marks, all sides are taken to swing alike.
  std::optional<Apparatus> apparatus{};
};

struct RunningResult {
  RunningState state = RunningState::kTooFew;
  double at_s = 0.0;           ///< of the last position
  std::optional<Side> side{};  ///< where the sources are now; nothing if nobody marked it
  bool sides_found = false;    ///< sides are from the track: plus is that of the larger x
  std::optional<Measured> period_s{};
  std::optional<Measured> equilibrium_mm{};  ///< of the present segment, in its middle until now
  std::optional<Measured> shift_mm{};
  /// With the sources left where they are; 0 if reached, nothing if farther off than a day.
  std::optional<double> seconds_to_target{};
  long left_out = 0;                    ///< false readings among the positions since the last fit
  std::vector<std::string> warnings{};  ///< such as a mark that the track contradicts
};

/// Follows a night, one position at a time.
///
/// The equilibria, hence the shift, follow by the state-space filter (running_filter.h). Period,
/// damping, noise, drift and kicks are slow: they are fitted again by the whole fit (swing_fit.h)
/// on the night's positions averaged into a fixed memory (position_history.h), a quarter of a
/// period after the last time at the earliest and then whenever the night has grown by 5 %, the
/// present segment by 20 %: some seventy fits in twelve hours, so that all of them together cost
/// what a few tens of fits of the whole night do. All starting values are from the data.
///
/// A position that lies 5 standard deviations from where it was foretold is set aside; if so many
/// are that it cannot be chance, the swing was disturbed: they are used, and it is fitted again
/// soon. Without marks the sides are those found in the track; with marks, moves that nobody marked
/// and marks without a move are told in `warnings` (mark_check.h), at the next fit.
class RunningEstimate {
 public:
  explicit RunningEstimate(const RunningOptions& options = {}) : options_(options) {}

  /// A position later than those before; u_mm > 0. Microseconds.
  void add(const SwingSample& sample);

  /// The sources are at `side` from t_s on, which may lie somewhat back, but not before an earlier
  /// move.
  void sources_moved(double t_s, Side side);

  /// Whether `refit` is due.
  [[nodiscard]] bool refit_is_due() const;
  /// Fits anew; about a second after twelve hours.
  void refit();

  [[nodiscard]] RunningResult result() const;

 private:
  struct Pending {
    SwingSample sample;
    bool surprising;
  };
  void close_reading();
  void plan_refit();
  void fit_segments(const std::vector<SwingSample>& series, const SwingStart& start);
  [[nodiscard]] bool frequencies_changed(const SwingFit& fit);
  void take_over(SwingFit fit);
  void forecast();
  [[nodiscard]] std::optional<SwingStart> start_for(const std::vector<SwingSample>& series) const;

  RunningOptions options_;
  PositionHistory history_;
  std::vector<SideChange> marks_;
  std::vector<Pending> pending_;  // the reading that is not full yet
  std::optional<RunningFilter> filter_;
  std::optional<SwingStart> last_start_;  // of the last fit
  FrequencyRatios ratios_;                // of the sides, by the last fit
  RunningResult result_;
  double first_s_ = 0.0;
  double segment_from_s_ = 0.0;
  double usual_step_s_ = 1.0;  // from position to position
  double usual_u_mm_ = 1.0;
  double last_refit_s_ = 0.0;
  double next_refit_s_ = 0.0;
  double next_forecast_s_ = 0.0;
};

}  // namespace nightswing::analysis
