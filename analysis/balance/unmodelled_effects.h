#pragma once

#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"

namespace nightswing::analysis {

/// What can change G and stands in no row of the budget.
struct UnmodelledEffect {
  std::string effect;
  std::string size;  ///< of G
  std::string remedy;
};

/// The charge and the height are worked out for this apparatus with its masses as points; the
/// wire's bound is published, as it says there; the other sizes are common practice for a bench
/// balance with kilogramme sources, no published source.
[[nodiscard]] std::vector<UnmodelledEffect> unmodelled_effects(const Apparatus& apparatus);

}  // namespace nightswing::analysis
