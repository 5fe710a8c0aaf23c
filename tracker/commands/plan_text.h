#pragma once

#include <string>

#include "analysis/balance/plan.h"

namespace nightswing::tracker {

/// One page for people: what the balance will do, what the budget will be, how long a night it
/// takes for the target (relative), a table over other wires and light paths, and the cautions.
[[nodiscard]] std::string plan_text(const analysis::Apparatus& apparatus,
                                    const analysis::PlanOptions& options,
                                    double target_relative_u);

}  // namespace nightswing::tracker
