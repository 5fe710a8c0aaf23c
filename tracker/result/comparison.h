#pragma once

#include <string>

#include "analysis/quantities/measured.h"

namespace nightswing::tracker {

/// A finished result beside the accepted value of G, which is used nowhere else.
struct Comparison {
  analysis::Measured accepted_m3_kg_s2;
  std::string accepted_source;  ///< such as "CODATA 2022"
  double ratio;          ///< (result - accepted) over the standard uncertainty of this difference
  std::string sentence;  ///< the same in words
};

/// g is G with its standard uncertainty (k = 1) [m3 kg-1 s-2].
[[nodiscard]] Comparison compare_with_accepted(const analysis::Measured& g);

}  // namespace nightswing::tracker
