#pragma once

#include <optional>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/ruler_map.h"
#include "calibration/ruler/stroke_band.h"
#include "calibration/ruler/tick_pattern.h"

/// Reads an ordinary ruler: a millimetre ruler or an inch ruler in sixteenths, taped beside the
/// path of the spot. Only its ticks are read, no numeral.
namespace nightswing::calibration {

/// A place on the ruler whose reading somebody looked up.
struct RulerLabel {
  PixelPoint pixel;
  double reading_mm;
};

/// hint and labels may be left out. Without labels x_mm is 0 at the first tick seen and grows to
/// the right (downwards on a steep ruler), because ticks alone tell neither.
struct RulerRequest {
  std::optional<RulerHint> hint = std::nullopt;
  std::vector<RulerLabel> labels = {};
};

enum class RulerStatus {
  kRead,
  kNoRuler,         ///< no row of ticks in the picture, or not where the hint says
  kTooFine,         ///< a division covers too few pixels
  kNoPattern,       ///< a row of strokes whose lengths are not those of a ruler's ticks
  kAmbiguous,       ///< ticks that can be read in more than one way
  kInconsistent,    ///< the ticks do not keep one count along the ruler, or do not lie on one plane
  kLabelsDisagree,  ///< the labels contradict the ticks or each other
};

/// One tick: its direction is a unit vector along the tick, away from the edge of the ruler.
struct RulerTick {
  PixelPoint pixel;  ///< on the tick near its base
  double direction_x = 0.0;
  double direction_y = 0.0;
  int index = 0;         ///< divisions from a longest tick, growing with x_mm
  int length_class = 0;  ///< 0 shortest; 2 (10 mm) or 4 (1 inch) longest
  double x_mm = 0.0;
  double u_px = 0.0;  ///< standard uncertainty of pixel across the tick
};

/// ticks, division and map are meaningful only if status == kRead. message is one sentence (two
/// with a caution): what was read and what one division was taken to be, or why not and what to do.
struct RulerReading {
  RulerStatus status = RulerStatus::kNoRuler;
  std::string message;
  std::vector<RulerTick> ticks;
  Division division = Division::kMillimetre;
  double division_px = 0.0;  ///< median length of a division in the picture
  int rulers_seen = 0;       ///< rulers that could have been read
  WallMap map;
};

/// Reads the ruler that the hint points at, or the longest in the picture.
///   stroke_band finds rows of strokes, tick_comb counts along them, tick_pattern decides from the
///   lengths what one division is, tick_detection measures each tick, ruler_map fits.
/// picture  CV_8UC1 gray or CV_8UC3 BGR; the mean of several frames lowers its noise.
/// throws   std::invalid_argument if the picture is of another type, a number is not finite or the
///          ends of the hint coincide.
/// not here what numerals say; rulers with other divisions (1/2 mm, 1/10 or 1/32 inch): these are
///          refused, or, where their ticks look the same (centimetres with longer 5 and 10, tenths
///          of an inch), need the user's eye: message names the division that was assumed, and two
///          labels prove it.
[[nodiscard]] RulerReading read_ruler(const cv::Mat& picture, const RulerRequest& request = {});

}  // namespace nightswing::calibration
