#pragma once

#include <string>
#include <vector>

#include "analysis/quantities/measured.h"
#include "analysis/quantities/uncertainty_budget.h"

/// One G out of several nights.
namespace nightswing::analysis {

/// G of one night and what it rests on.
struct NightValue {
  std::string name;
  Measured g;                   ///< [m3 kg-1 s-2], above zero
  std::vector<BudgetRow> rows;  ///< contributions in the same unit
};

/// A night beside the others.
struct NightInCombination {
  double weight;     ///< all add up to 1
  double own_u;      ///< what is not shared with another night [m3 kg-1 s-2]
  double deviation;  ///< from the combined G, in the uncertainty of this difference
};

struct CombinedNights {
  Measured g;       ///< [m3 kg-1 s-2]
  double common_u;  ///< the part of u that more nights of this kind do not lessen
  /// sqrt(chi2 / (n - 1)) of the nights about their mean, shared inputs left aside. 1 give or take
  /// birge_spread where the stated uncertainties are true.
  double birge_ratio;
  double birge_spread;  ///< 1 / sqrt(2 (n - 1))
  double widened_u;     ///< u if the nights' own uncertainties are too small by this ratio
  std::vector<NightInCombination> nights;  ///< in the order given
  std::vector<std::string> shared;         ///< inputs that nights have in common
  [[nodiscard]] bool nights_differ() const { return birge_ratio > 1.0 + 2.0 * birge_spread; }
};

/// The weighted mean with the smallest uncertainty whose weights are not negative.
///
/// An input with the same name, value and uncertainty in two nights is one measurement (the same
/// mass on the same balance): its error is the same in both and does not average out. Everything
/// else is taken as independent from night to night.
///
/// Weights and covariances are those of ln G. A shared scale error in percent would else favour
/// whichever night came out lower (R. W. Peelle, Oak Ridge 1987, known as his puzzle).
/// Best linear unbiased mean with correlations: A. C. Aitken, Proc. R. Soc. Edinburgh 55 (1936) 42.
/// Ratio of outer to inner consistency: R. T. Birge, Phys. Rev. 40 (1932) 207.
///
/// throws std::invalid_argument for fewer than two nights or a G or u not above zero.
[[nodiscard]] CombinedNights combine_nights(const std::vector<NightValue>& nights);

}  // namespace nightswing::analysis
