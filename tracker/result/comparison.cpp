#include "tracker/result/comparison.h"

#include <cmath>

#include <fmt/format.h>

#include "analysis/balance/constants.h"
#include "analysis/quantities/quantity.h"

namespace nightswing::tracker {

Comparison compare_with_accepted(const analysis::Measured& g) {
  const analysis::Measured accepted = analysis::kAcceptedG;
  const double ratio = (g.value - accepted.value) / std::hypot(g.u, accepted.u);
  return {.accepted_m3_kg_s2 = accepted,
          .accepted_source = "CODATA 2022",
          .ratio = ratio,
          .sentence = fmt::format(
              "The accepted value, {} (CODATA 2022), lies {} standard uncertainties {}; it was "
              "not used to get this result.",
              analysis::format_quantity(accepted, ""),
              // Which of them it is does not matter where something is wrong.
              std::abs(ratio) < 10.0 ? fmt::format("{:.2f}", std::abs(ratio)) : "more than ten",
              ratio < 0 ? "above" : "below")};
}

}  // namespace nightswing::tracker
