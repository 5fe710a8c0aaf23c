#pragma once

#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "analysis/positions/swing_series.h"
#include "analysis/quantities/measured.h"
#include "analysis/swing/swing_fit.h"

namespace nightswing::analysis {

/// What the filter knows of the equilibria at a moment.
struct RunningLevels {
  Measured equilibrium_mm;             ///< of the last segment, in its middle until now
  std::optional<Measured> shift_mm{};  ///< plus minus minus; nothing without both sides
};

/// Goes on with the filter of a fit, reading by reading, in its last segment. Period, damping and
/// noise stay those of the fit, the equilibria, the drift and their covariance follow from all
/// readings (generalised least squares on the innovations, as in swing_filter.h). What the fit
/// found u to be wider than that (uncertain period, damping and noise) is kept as a factor. Memory
/// and time per reading do not depend on how many there were.
class RunningFilter {
 public:
  /// Nothing if the fit has no numbers.
  [[nodiscard]] static std::optional<RunningFilter> after(const SwingFit& fit);
  ~RunningFilter();
  RunningFilter(RunningFilter&&) noexcept;
  RunningFilter& operator=(RunningFilter&&) noexcept;

  /// How far a sample lies from where it is foretold, in standard deviations of that difference.
  [[nodiscard]] double surprise(const SwingSample& sample) const;

  /// A reading later than those before: a mean over about `reading_s`.
  void take(const SwingSample& reading);
  [[nodiscard]] double reading_s() const;

  /// Nothing if the numbers have become unusable.
  [[nodiscard]] std::optional<RunningLevels> levels() const;

  struct Pace {
    double every_s;  ///< one reading for so long
    double u_mm;     ///< of such a reading
  };
  /// How much longer until u(shift) is below `target` of the shift as it is now, if the sources
  /// stay and readings come at that pace: the filter's covariance run forwards, which needs no
  /// data. 0 if it is; nothing if it takes longer than `most_s` or there is no shift.
  [[nodiscard]] std::optional<double> seconds_to(double target,
                                                 const Pace& pace,
                                                 double most_s) const;

 private:
  struct State;
  explicit RunningFilter(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace nightswing::analysis
