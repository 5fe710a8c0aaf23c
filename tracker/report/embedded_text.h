#pragma once

#include <string_view>

/// Texts that the build puts into the program, so that a report needs nothing beside it.
namespace nightswing::tracker {

[[nodiscard]] std::string_view report_style();   ///< report.css
[[nodiscard]] std::string_view report_script();  ///< report.js
/// The chart library of the zoomable night (dygraphs, MIT licence), its style and its licence.
[[nodiscard]] std::string_view chart_library();
[[nodiscard]] std::string_view chart_style();
[[nodiscard]] std::string_view chart_licence();

}  // namespace nightswing::tracker
