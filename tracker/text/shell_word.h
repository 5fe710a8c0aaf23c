#pragma once

#include <string>
#include <string_view>

namespace nightswing::tracker {

/// Text in single quotes, as a POSIX shell reads it back.
[[nodiscard]] std::string shell_quoted(std::string_view text);

/// The same as a word of a command line: without quotes if it is plain.
[[nodiscard]] std::string shell_word(std::string_view word);

}  // namespace nightswing::tracker
