#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace nightswing::tracker {

/// The sentence broken at blanks into lines of a page of 96 characters, each begun with `indent`.
[[nodiscard]] std::string in_lines(const std::string& sentence, std::string_view indent);

/// The title, and under it each sentence in_lines(), indented; nothing if there is no sentence.
[[nodiscard]] std::string listed(std::string_view title, const std::vector<std::string>& sentences);

}  // namespace nightswing::tracker
