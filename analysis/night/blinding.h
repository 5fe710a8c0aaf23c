#pragma once

#include "analysis/night/night.h"

namespace nightswing::analysis {

/// Multiplies every G in a result, with its uncertainty, by a factor that nobody has seen, so that
/// choices of the analysis cannot lean towards the value that one expects. What was measured
/// (shift, period) stays as it is; so does what is relative.
void blind(NightResult& result, double factor);

}  // namespace nightswing::analysis
