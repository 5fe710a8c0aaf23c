#pragma once

#include <cstddef>
#include <optional>
#include <vector>

namespace nightswing::tracker {

/// One place of the spot, in pixels; the mean of the pictures of one step of time.
struct TrackPoint {
  double t_s = 0.0;
  double x_px = 0.0;
  double y_px = 0.0;
};

/// The track of a night for the eye, in constant memory: the mean of every step of time in which
/// the spot was measured. When the points get too many, the step is doubled and neighbours are put
/// together. Ten hours of a swing of ten minutes then still have some dozens of points a swing.
class ThinnedTrack {
 public:
  /// throws std::invalid_argument unless step_s > 0 and most >= 2.
  explicit ThinnedTrack(double step_s = 1.0, std::size_t most = 4096);

  /// A measured place; one that is older than the step before the last point is passed over.
  void add(const TrackPoint& measured);

  [[nodiscard]] double step_s() const { return step_s_; }
  /// Ordered by time; the last one may still change.
  [[nodiscard]] std::vector<TrackPoint> points() const;

 private:
  struct Step {
    long number;  // of steps since t = 0
    double count;
    TrackPoint sum;
  };

  void thin();

  double step_s_;
  std::size_t most_;
  std::vector<Step> steps_;
};

}  // namespace nightswing::tracker
