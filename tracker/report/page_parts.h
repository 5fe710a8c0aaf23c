#pragma once

#include <initializer_list>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "tracker/report/canvas.h"

/// Pieces that the pages of the report are put together from; plain texts in, HTML out.
namespace nightswing::tracker {

/// From the doctype to the end of the head: style inside, a policy that forbids every request.
[[nodiscard]] std::string head_html(const std::string& title);

[[nodiscard]] std::string heading(std::string_view text);

/// On screen the figure follows the light or dark ground that the reader prefers.
[[nodiscard]] std::string figure_html(const Figure& figure, std::string_view more_classes = "");

/// Those of `names` that are among the figures, half-width ones beside each other.
[[nodiscard]] std::string figures_html(std::span<const Figure> figures,
                                       std::initializer_list<std::string_view> names);

/// `titles` of the columns; one that ends in `#` is a column of numbers.
[[nodiscard]] std::string table_html(std::initializer_list<std::string_view> titles,
                                     const std::vector<std::vector<std::string>>& rows);

[[nodiscard]] std::string list_html(const std::vector<std::string>& lines);

/// `6.623(86)e-11 m3 kg-1 s-2` as people write it.
[[nodiscard]] std::string g_html(const std::string& text);

}  // namespace nightswing::tracker
