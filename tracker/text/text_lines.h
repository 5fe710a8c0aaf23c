#pragma once

#include <string>
#include <string_view>

namespace nightswing::tracker {

/// The sentence broken at blanks into lines of a page of 96 characters, each begun with `indent`.
[[nodiscard]] std::string in_lines(const std::string& sentence, std::string_view indent);

}  // namespace nightswing::tracker
