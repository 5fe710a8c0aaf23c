#pragma once

#include <optional>
#include <vector>

#include <opencv2/core.hpp>

/// Measures how long the strokes of a straightened ruler are (tick_grid.h: a row is a step of h,
/// the tick lies in the middle of each division). polarity 1: dark strokes, -1: bright ones.
namespace nightswing::calibration {

/// Samples along a division in all matrices of straightened rows here.
inline constexpr int kSamplesPerDivision = 16;

/// How deep a stroke each division (column) has in each row, against the ground on both sides of
/// it, in gray values; NaN where it is not seen.
[[nodiscard]] cv::Mat stroke_depths(const cv::Mat& rows, int polarity);

/// The ticks of a pattern that returns after `period` ticks: medians over all ticks of one place in
/// it, so that worn, covered and written-over ticks do not count.
struct FoldedTicks {
  cv::Range common_rows;           ///< where all places have strokes, about equally deep
  bool upwards = false;            ///< the long ones are long towards growing rows
  double base_row = 0.0;           ///< their common end
  std::vector<double> lengths_px;  ///< by place
  bool open = false;               ///< some run out of the rows looked at
};

/// first_tick  the number of the first column; place k holds the numbers that leave k when divided
///             by period.
/// returns  none if there is no row in which all places have strokes.
[[nodiscard]] std::optional<FoldedTicks> fold_ticks(const cv::Mat& depths,
                                                    int first_tick,
                                                    int period);

/// Median width of the ticks in divisions (area over depth), in the common rows. None if there are
/// other strokes between them, there or just before their common end, or if noise could hide such.
[[nodiscard]] std::optional<double> width_of_single_strokes(const cv::Mat& rows,
                                                            double division_px,
                                                            const FoldedTicks& ticks,
                                                            int polarity);

}  // namespace nightswing::calibration
