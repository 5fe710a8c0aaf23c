#pragma once

#include <optional>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/balance/gravity.h"
#include "analysis/positions/swing_series.h"
#include "analysis/swing/swing_fit.h"

/// What the balance model says of a swing that was fitted, for fitting it again.
namespace nightswing::analysis {

/// G by what was fitted until now, if that carries any: a converged fit whose shift is clear.
///   findings  of that fit
[[nodiscard]] std::optional<GravityResult> gravity_so_far(const Apparatus& apparatus,
                                                          const NightFindings& findings,
                                                          const SwingFit& fit);

/// Gives each segment the frequency of its side, where the sides are no mirror images.
void set_frequency_ratios(const FrequencyRatios& ratios, std::vector<Segment>& segments);

}  // namespace nightswing::analysis
