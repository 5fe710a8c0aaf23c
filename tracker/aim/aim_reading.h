#pragma once

#include <deque>
#include <future>
#include <optional>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/map/wall_map.h"
#include "tracker/frames/picture.h"
#include "tracker/spot/spot_finder.h"
#include "tracker/spot/spot_measurement.h"
#include "tracker/wall/wall_calibration.h"

namespace nightswing::tracker {

/// How far the spot may go to both sides before it is cut by the border of the picture.
struct SwingRoom {
  double left_px = 0.0;
  double right_px = 0.0;
};

/// What the program makes of the picture while the camera is being set up.
struct AimReading {
  SpotMeasurement spot{SpotState::kLost, std::nullopt};
  std::optional<SwingRoom> room{};       ///< with a spot
  std::optional<double> mm_per_px{};     ///< at the spot, or in the middle; with a scale
  std::optional<double> reading_u_mm{};  ///< standard uncertainty of one reading; with both
  std::string scale;                     ///< whether the scale can be read, a sentence
  double sharpness = 0.0;                ///< of the wall's texture now over the best so far, 0 to 1
  double saturated_share = 0.0;          ///< of the picture's pixels that are full
  std::vector<std::string> advice;       ///< what to do, in words; empty: nothing
};

/// Room between a spot and the borders, in a picture of that size: its light, to four of its
/// widths, stays inside.
[[nodiscard]] SwingRoom room_of(const SpotPosition& spot, cv::Size size);

/// Sharpness of the picture's texture: variance of the Laplacian of its luma over that of the luma
/// itself, so that light and dark pictures of the same wall are alike; smoothed before against the
/// noise of single pixels, the surroundings of the spot left out. Grows with better focus.
///   source  J. L. Pech-Pacheco et al., ICPR 2000, vol. 3, p. 314 (variance of the Laplacian; from
///           memory)
[[nodiscard]] double sharpness_of(const Picture& picture, const std::optional<SpotPosition>& spot);

/// Words for what to change, by the reading; the thresholds are common practice, no source:
/// a peak of 40 counts has a tenth of the uncertainty of one that is lost in the noise, one near
/// 255 is clipped; below a width of 1.5 px the pixel grid shows, above 15 px the reading gets
/// worse.
[[nodiscard]] std::vector<std::string> advice_for(const AimReading& reading);

/// One line for a terminal.
[[nodiscard]] std::string text_of(const AimReading& reading);

/// Follows the picture while a camera is being set up. Nothing is kept of a view that has changed.
class AimObserver {
 public:
  explicit AimObserver(ScaleInView scale) : scale_(std::move(scale)) {}

  /// The next picture.
  [[nodiscard]] AimReading see(const cv::Mat& picture, double steady_s);

 private:
  struct ReadScale {
    std::optional<calibration::WallMap> map;
    std::string text;
  };

  [[nodiscard]] bool has_moved(const cv::Mat& picture);
  void read_scale(double steady_s);

  ScaleInView scale_;
  SpotFinder finder_;
  cv::Mat small_;                 // the last picture, coarse
  std::deque<cv::Mat> pictures_;  // the last few of this view
  std::future<ReadScale> reading_;
  bool is_of_earlier_view_ = false;  // what is being read
  ReadScale read_;
  double next_scale_s_ = 0.0;
  double best_sharpness_ = 0.0;
};

}  // namespace nightswing::tracker
