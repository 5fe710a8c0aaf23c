#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace nightswing::tracker {

/// CSV as our files use it: comma, point, UTF-8, one header line, `\n`, RFC 4180 quotes, an empty
/// field for a missing value.

/// Shortest text that reads back to the same double.
[[nodiscard]] std::string number_text(double value);
/// The same rounded to `decimals`, without trailing zeros: logs need no noise digits.
[[nodiscard]] std::string number_text(double value, int decimals);

/// Quotes the field if it holds a comma, a quote or a line break.
[[nodiscard]] std::string csv_field(std::string_view text);

/// The fields of one line, quotes resolved. Nothing if a quote stays open.
[[nodiscard]] std::optional<std::vector<std::string>> split_csv(std::string_view line);

}  // namespace nightswing::tracker
