#include "tracker/text/shell_word.h"

namespace nightswing::tracker {

std::string shell_quoted(std::string_view text) {
  std::string quoted = "'";
  for (const char c : text) quoted += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return quoted + "'";
}

std::string shell_word(std::string_view word) {
  constexpr std::string_view kPlain =
      "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789@%+=:,./_-";
  const bool is_plain = word.find_first_not_of(kPlain) == std::string_view::npos;
  return is_plain && !word.empty() ? std::string(word) : shell_quoted(word);
}

}  // namespace nightswing::tracker
