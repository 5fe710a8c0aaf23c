#pragma once

#include <span>
#include <string_view>

namespace nightswing::analysis {

/// What can change G and stands in no row of the budget.
struct UnmodelledEffect {
  std::string_view effect;
  std::string_view size;  ///< of G, for a bench balance with kilogramme sources
  std::string_view remedy;
};

/// Sizes: common practice and worked by us for an arm of 0.1 m, a separation of 60 mm, 4 kg and
/// 540 s; no published source.
[[nodiscard]] std::span<const UnmodelledEffect> unmodelled_effects();

}  // namespace nightswing::analysis
