#pragma once

#include <cstdint>
#include <string_view>

#include "analysis/night/night.h"
#include "tests/support/driven_swing.h"

namespace nightswing::test {

/// What spoils the nights of a trial.
struct NightKind {
  std::string_view name;
  DrivenNight night;
};

/// White noise only; stirred by random torque; slow noise, kicks, drift, gaps and false readings;
/// the same with four sides. Two hours of the reference balance, 0.3 mm white noise a position.
[[nodiscard]] const std::vector<NightKind>& night_kinds();

/// One night of the reference balance (reference_balance.h), whose G is 6.67430e-11, by a
/// simulator of its own, analysed with an apparatus whose every number is off by its uncertainty
/// times a random number.
struct NightTrial {
  analysis::NightResult result;
  double true_g = 6.67430e-11;
  double true_shift_mm = 0.0;  ///< plus minus minus, straightened
};
/// The reference balance as measured: every value off by its u times a random number.
[[nodiscard]] analysis::Apparatus measured_balance(std::uint32_t seed);

[[nodiscard]] NightTrial try_night(const NightKind& kind,
                                   std::uint32_t seed,
                                   std::size_t trials = 20000);

}  // namespace nightswing::test
