#pragma once

#include <cstdio>
#include <string_view>

namespace nightswing::tracker {

/// Writes to a terminal, or to the file that stands for one. A full disk or a reader that is gone
/// is no reason to end what is said of: then it is not heard.
void say(std::FILE* stream, std::string_view text) noexcept;

}  // namespace nightswing::tracker
