#pragma once

#include <optional>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/ruler_map.h"
#include "calibration/ruler/ruler_reader.h"
#include "calibration/ruler/stroke_band.h"
#include "calibration/ruler/tick_detection.h"
#include "calibration/ruler/tick_pattern.h"

/// The work of ruler_reader.h up to the numbering: from a picture to measured rulers.
namespace nightswing::calibration {

/// A ruler measured in its own count: the map's x_mm is 0 at a longest tick and grows with the
/// index.
struct MeasuredRuler {
  TickPattern pattern;
  std::vector<MeasuredTick> ticks;
  WallMap map;
  double length_px = 0.0;
};

/// What the picture holds: rulers, the longest first, or why there is none (the most telling of the
/// reasons that its rows of strokes gave, with the length of a division where known).
struct RulerSearch {
  std::vector<MeasuredRuler> rulers;
  RulerStatus refusal = RulerStatus::kNoRuler;
  double refused_division_px = 0.0;
};

/// values  CV_32F.
[[nodiscard]] RulerSearch search_rulers(const cv::Mat& values,
                                        const std::optional<RulerHint>& hint);

}  // namespace nightswing::calibration
