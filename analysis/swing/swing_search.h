#pragma once

#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "analysis/swing/swing_filter.h"
#include "analysis/swing/swing_track.h"

/// Which model of the night the evidence asks for, and its best parameters.
namespace nightswing::analysis {

/// What remembers the slow noise of the readings.
enum class SlowNoise {
  kNone,
  kInTime,      ///< fades with time: compressed video, a creeping camera, seeing
  kInPosition,  ///< fades with the way that the spot has moved: speckle, texture of the wall
};

/// `none`, `time`, `position`: the word in result.json.
[[nodiscard]] constexpr std::string_view name_of(SlowNoise kind) {
  switch (kind) {
    case SlowNoise::kNone:
      return "none";
    case SlowNoise::kInTime:
      return "time";
    case SlowNoise::kInPosition:
      return "position";
  }
  return "";
}

/// An instant change of the swing's speed: a door, a footstep.
struct Kick {
  double t_s;
  double change_mm_per_s;  ///< of u'
};

struct SwingModel {
  DriftModel drift;
  SlowNoise slow_noise = SlowNoise::kNone;
  bool away = false;
  std::vector<Kick> kicks;
  [[nodiscard]] FilterLayout layout() const {
    return {.slow_noise = slow_noise != SlowNoise::kNone, .away = away};
  }
};

/// The filter track of a model. Kicks act at the first reading at or after their time.
/// white_variance_mm2  the scale that the kicks' variances are given in
[[nodiscard]] FilterTrack track_of(const SwingModel& model,
                                   std::span<const PlacedSample> readings,
                                   std::span<const Segment> segments,
                                   double omega_per_s,
                                   double white_variance_mm2);

/// Median of slow_step: what fades faster cannot be told from white noise.
[[nodiscard]] double typical_slow_step(const FilterTrack& track);

struct Optimum {
  bool converged = false;
  std::vector<double> x;
  double log_likelihood = 0.0;  ///< restricted
};

/// Climbs the restricted likelihood from x by BFGS (Ceres) with automatic derivatives.
[[nodiscard]] Optimum maximise(const FilterTrack& track,
                               const FilterLayout& layout,
                               std::vector<double> x);

/// The same for a layout with slow noise, from several starts around the best parameters without.
[[nodiscard]] Optimum best_with_slow_noise(const FilterTrack& track,
                                           const FilterLayout& layout,
                                           const std::vector<double>& without);

/// A drift model that was compared, with its share of belief by the Bayesian information criterion
/// and the shift it leads to (0 if the night has not both sides).
struct DriftBelief {
  DriftModel drift;
  double weight;
  double shift_mm;
};

struct ChosenModel {
  SwingModel model;
  Optimum optimum;
  /// The kind of slow noise that comes into question, in the model or not.
  SlowNoise likeliest_slow_noise = SlowNoise::kInTime;
  double white_variance_mm2 = 0.0;  ///< of a reading with the mean u_mm
  std::vector<DriftBelief> drifts;
};

struct SearchStart {
  double omega_per_s;
  double damping_per_s;
  double residual_rms_mm;           ///< of the least-squares swing
  std::optional<DriftModel> drift;  ///< given: not chosen by evidence
};

/// Chooses on readings that are coarse enough to be quick.
///   Torque noise from several starts. Slow noise of the readings, in time or in position, if the
///   log-likelihood gains more than 3 by its two parameters (swing_uncertainty.h weighs it again).
///   Kicks greedily, each where the smoother's disturbance is largest at a lowered torque noise
///   (else it hides in the noise that it raises), kept if the log-likelihood gains so much by it,
///   or by several together, that chance would do as well in fewer than 2 % of nights, all places
///   that were tried being counted. The drift is linear at least: leaving out a drift that the
///   evidence cannot see would halve u(shift) and make it wrong; more of it (quadratic, relaxation;
///   cubic from four near segments on) by the Bayesian information criterion. source criterion:
///   Schwarz, Ann. Stat. 6, 461 (1978)
[[nodiscard]] ChosenModel choose_model(std::span<const PlacedSample> readings,
                                       std::span<const Segment> segments,
                                       const SearchStart& start);

}  // namespace nightswing::analysis
