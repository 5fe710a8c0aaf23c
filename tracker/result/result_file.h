#pragma once

#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/night/night.h"
#include "tracker/result/night_of_run.h"

namespace nightswing::tracker {

/// What the texts of a result are made from.
struct ResultSource {
  const RunFolder& run;
  const NightOfRun& night;
  const analysis::Apparatus& apparatus;
  const analysis::NightResult& result;
};

inline constexpr const char* kUnitOfG = "m3 kg-1 s-2";

/// The warnings of the track, the apparatus and the analysis, in this order.
[[nodiscard]] std::vector<std::string> warnings_of(const ResultSource& source);

/// What was taken for true because nobody measured it: what the apparatus file leaves out, and
/// times that the user named.
[[nodiscard]] std::vector<std::string> assumptions_of(const ResultSource& source);

/// Why the rows of a budget do not come to its u, if they do not; empty if they do.
[[nodiscard]] std::string correlation_note(const analysis::UncertaintyBudget& budget);

/// result.json: every number with its unit in the key or beside it; see DEVELOPERS.md, formats.
[[nodiscard]] std::string result_json(const ResultSource& source);

/// result.txt: one page for people, also printed by `analyse`.
[[nodiscard]] std::string result_text(const ResultSource& source);

}  // namespace nightswing::tracker
