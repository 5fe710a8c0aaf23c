#pragma once

#include <opencv2/core.hpp>

#include "tracker/frames/picture.h"
#include "tracker/spot/spot_fit.h"

namespace nightswing::tracker {

/// What lossy film (see RepeatedWall) may have done to the place of the spot, without a trace in
/// its shape. Speeds are those of the spot, px a frame.
class FilmDrag {
 public:
  /// The spot in the next frame. Where blocks of it are repeated from the frame before, they are
  /// where the spot was: it may have gone on meanwhile as fast as it did before.
  /// saturation  counts; brighter pixels are alike without compression
  void look(const Picture& frame, const SpotFit& fit, double speed_px, int saturation);

  /// How far the spot may have gone on since it was last drawn anew.
  [[nodiscard]] double lag_px() const { return lag_px_; }

  /// What the uncertainty of a fit is to be widened by: 1.2 where the spot is fast to 1.8 where it
  /// creeps. With that the scatter over H.264 films of known truth (crf 18 and 23) is 0.8 to 1.2
  /// times what is said.
  [[nodiscard]] static double widening(double speed_px);

  /// What coarse coding, which draws a spot that turns between where it was and where it will be,
  /// may hold back: 0.3 of the acceleration (per frame and frame; as a mean, from such films) while
  /// it stands, half of that at 1 px a frame.
  [[nodiscard]] static double turn_doubt_px(double acceleration_px, double speed_px);

 private:
  [[nodiscard]] double stale_share(const cv::Mat& luma,
                                   const cv::Rect& area,
                                   const SpotShape& shape,
                                   int saturation) const;

  cv::Mat luma_;  ///< of the spot in the last frame, in
  cv::Rect area_;
  double fresh_x_px_ = 0;  ///< where it was when it was last drawn anew
  double fresh_y_px_ = 0;
  double fresh_speed_px_ = 0;  ///< then
  int frames_ = 0;             ///< since then
  double lag_px_ = 0;
};

}  // namespace nightswing::tracker
