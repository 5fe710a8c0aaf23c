#pragma once

#include "analysis/balance/gravity_budget.h"
#include "analysis/quantities/monte_carlo.h"

namespace nightswing::analysis {

struct GravityMonteCarlo {
  MonteCarloResult result;
  /// Largest error of the stand-in below in 50 of the draws, in units of u(G); 0 if G itself was
  /// computed in every trial.
  double stand_in_error = 0.0;
};

/// Distribution of G by drawing all its inputs. A trial with extended bodies takes 10 ms; ln G is
/// nearly a sum of functions of single inputs, so that a stand-in of second order in ln G (with the
/// mixed terms of the night's findings) replaces it wherever 50 true trials agree with it to 5 % of
/// u(G); spheres are computed in full where they do not.
[[nodiscard]] GravityMonteCarlo gravity_monte_carlo(const GravityInputs& inputs,
                                                    const MonteCarloOptions& options = {});

}  // namespace nightswing::analysis
