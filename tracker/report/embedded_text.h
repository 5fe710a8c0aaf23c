#pragma once

#include <string_view>

/// Texts that the build puts into the program, so that a report or a page needs nothing beside it.
namespace nightswing::tracker {

[[nodiscard]] std::string_view report_style();   ///< report.css
[[nodiscard]] std::string_view report_script();  ///< report.js
/// night_chart.js: what both make of the chart library.
[[nodiscard]] std::string_view night_chart_script();
[[nodiscard]] std::string_view page_style();   ///< page.css, of the live page, after report.css
[[nodiscard]] std::string_view page_script();  ///< page.js
/// The chart library of the zoomable night (dygraphs, MIT licence), its style and its licence.
[[nodiscard]] std::string_view chart_library();
[[nodiscard]] std::string_view chart_style();
[[nodiscard]] std::string_view chart_licence();

}  // namespace nightswing::tracker
