#pragma once

#include <optional>
#include <vector>

#include "tracker/run/track_file.h"

namespace nightswing::tracker {

/// Combines the measurements of a fast camera into one row for each window of time.
///
/// The position is the mean of those measured in the window, weighted by 1 / u^2, at their weighted
/// mean time: the spot's motion within a window is as good as straight. It is `clipped` if half of
/// them are, and if none was measured it is what most frames are, without a position.
///
/// The uncertainty is not that of one frame divided by the root of their number. In each window a
/// straight line leaves residuals; with s^2 their variance, r their correlation from frame to
/// frame (both of the last 300 windows or so) and u^2 the mean of what is stated for single frames:
///   u_mean^2 = max(u^2 - s^2, 0) + s^2 min(1, (1 + r) / (1 - r) / n)
/// What does not show as scatter although it is stated (speckle, film that sticks) is common to the
/// frames and stays. A window of one or two frames before any scatter is known keeps u.
/// The line takes more of correlated noise with it than of white noise; s^2 and r allow for that.
///   source  variance of a mean of first-order autoregressive noise: textbook (from memory, checked
///           by simulation in the tests)
class TrackAverage {
 public:
  /// window_s > 0; windows begin at whole multiples of it. throws std::invalid_argument otherwise.
  explicit TrackAverage(double window_s);

  /// Takes the next frame's row. Returns the row of the window before it, if that is over.
  [[nodiscard]] std::optional<TrackRow> add(const TrackRow& row);

  /// The row of the window so far, if there is any: at the end, or before something that parts the
  /// frames, such as a knock of the camera.
  [[nodiscard]] std::optional<TrackRow> finish();

 private:
  /// Running sums over the residuals of past windows, of one coordinate.
  struct Scatter {
    double squares_over_u2 = 0.0;   // of residuals
    double products_over_u2 = 0.0;  // of neighbouring residuals
    double points = 0.0;
    double windows = 0.0;

    void take(const std::vector<double>& pulls);
    [[nodiscard]] double mean_variance(double mean_u2, double n) const;
  };

  [[nodiscard]] TrackRow unmeasured() const;
  void learn(const std::vector<TrackRow>& measured);

  double window_s_;
  long window_ = 0;
  std::vector<TrackRow> rows_;
  Scatter scatter_x_;
  Scatter scatter_y_;
};

}  // namespace nightswing::tracker
