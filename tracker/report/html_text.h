#pragma once

#include <string>
#include <string_view>

namespace nightswing::tracker {

/// The text with &, <, >, " and ' written so that HTML shows them and never obeys them; also fit
/// for an attribute in quotes. Other control characters than tab and line break become blanks.
[[nodiscard]] std::string html_escaped(std::string_view text);

/// Base64 (RFC 4648, section 4), for pictures inside the page.
[[nodiscard]] std::string base64(std::string_view bytes);

}  // namespace nightswing::tracker
