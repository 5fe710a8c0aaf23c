#pragma once

#include <optional>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/ruler/tick_grid.h"

/// Decides from the lengths of the ticks what one division is.
namespace nightswing::calibration {

enum class Division {
  kMillimetre,    ///< longer at every 5th, longest at every 10th
  kSixteenthInch  ///< 1/16 < 1/8 < 1/4 < 1/2 < 1 inch
};

[[nodiscard]] double division_mm(Division division);
[[nodiscard]] std::string division_name(Division division);

/// Rank of the tick's length by its place within the pattern, 0 for the shortest: 0 to 2 for
/// millimetres, 0 to 4 for inches. i counts from a longest tick.
[[nodiscard]] int length_class(Division division, int i);

/// What a row of strokes was found to be. In grid, tick 0 is of the longest kind.
struct TickPattern {
  Division division = Division::kMillimetre;
  TickGrid grid;
  int polarity = 1;              ///< 1: dark ticks, -1: bright ones
  double base_h_px = 0.0;        ///< where the ticks begin, all of them
  std::vector<double> end_h_px;  ///< where they end, by class
  double width = 0.3;            ///< of a tick, area over depth, in divisions
};

enum class PatternStatus {
  kDecided,
  kNoPattern,     ///< equal strokes, or lengths in another order
  kAmbiguous,     ///< more than one way to read them
  kInconsistent,  ///< the pattern shifts along the ruler
  kTooFine,       ///< only the 5th and 10th strokes can be told apart
};

struct PatternDecision {
  PatternStatus status = PatternStatus::kNoPattern;
  std::optional<TickPattern> pattern;  ///< if decided
  double division_px = 0.0;            ///< of the pattern, or of what it would be if too fine
};

/// Tries every reading of the comb: its count may be divisions, or 2, 3, 4, 5 or 10 of them, or as
/// many parts of one; dark strokes or bright ones. A reading holds if
///   1. all its ticks have strokes, side by side, and there are none between them;
///   2. the lengths follow the pattern of millimetres or of sixteenths of an inch, in every class
///      alike and clearly longer from class to class, and the strokes end within reach; every other
///      repetition of the pattern shows it by itself;
///   3. every stretch of some 30 ticks by itself puts the longest ticks at the same count.
/// Lengths are medians over all ticks of the same place in the pattern, so that worn, covered and
/// written-over ticks do not count. Decided only if exactly one reading holds. What no lengths can
/// tell apart is taken for the usual: thirty-seconds of an inch whose inch marks are no longer than
/// its halves for sixteenths, centimetres with longer 5 and 10 for millimetres.
[[nodiscard]] PatternDecision decide_pattern(const cv::Mat& values,
                                             const TickGrid& counted,
                                             double least_division_px);

}  // namespace nightswing::calibration
