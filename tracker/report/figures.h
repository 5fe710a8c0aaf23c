#pragma once

#include <span>
#include <string_view>
#include <vector>

#include <opencv2/core.hpp>

#include "tracker/report/canvas.h"
#include "tracker/report/shown_night.h"

namespace nightswing::tracker {

/// The figures of a night. Each is drawn from `night` alone, which must outlive it; a figure for
/// which the night has no data is left out.

/// Position against time, residuals, their distribution and autocorrelation, folded swing, drift.
[[nodiscard]] std::vector<Figure> swing_figures(const ShownNight& night);

/// Of these, the distribution and the autocorrelation of the residuals.
[[nodiscard]] std::vector<Figure> residual_figures(const ShownNight& night);

/// G beside other values of it, the budget, the corrections.
[[nodiscard]] std::vector<Figure> gravity_figures(const ShownNight& night);

/// Values of G beside each other and beside the accepted one. Holds all that it draws.
/// g_text   the first of them in words, for those who cannot see the figure
[[nodiscard]] Figure comparison_figure(const std::vector<ShownOpinion>& opinions,
                                       const Comparison& comparison,
                                       const std::string& g_text);

/// The wall with the path of the spot, both equilibria and millimetres, and what the fit of the map
/// left over. `wall` is first.png; without it (empty) the former is left out.
[[nodiscard]] std::vector<Figure> wall_figures(const ShownNight& night, const cv::Mat& wall);

/// All of them, in the order of the report.
[[nodiscard]] std::vector<Figure> all_figures(const ShownNight& night, const cv::Mat& wall);

/// The names of all figures that there can be.
[[nodiscard]] std::span<const std::string_view> figure_names();

/// The width of a figure that fills a page of A4 between its margins, and of one beside another.
inline constexpr double kPageWidth_pt = 510.0;
inline constexpr double kHalfWidth_pt = 250.0;

}  // namespace nightswing::tracker
