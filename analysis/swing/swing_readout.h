#pragma once

#include <vector>

#include "analysis/swing/swing_fit.h"
#include "analysis/swing/swing_preparation.h"
#include "analysis/swing/swing_search.h"
#include "analysis/swing/swing_uncertainty.h"

namespace nightswing::analysis {

/// The sentence for a night in which nothing swings.
inline constexpr const char* kSpotRests =
    "no swing stands out from the noise: the spot rests, or goes to its place of rest without "
    "swinging past it, so that there is no period to compute G from; set the boom swinging by some "
    "millimetres and watch again, with less damping if it then still only creeps back";

/// Turns the estimate of a model into rest positions, period, drift and segments of `fit`, and
/// judges whether they may be used (status and message).
///   end_amplitude_mm  of the swing at the last reading of each segment
void read_out(const PreparedSwing& prepared,
              const SwingModel& model,
              const SwingEstimate& estimate,
              const std::vector<double>& end_amplitude_mm,
              SwingFit& fit);

}  // namespace nightswing::analysis
