#pragma once

#include <deque>
#include <string>

namespace nightswing::tracker {

/// How evenly the pictures of a camera come, by the last few hundred of them.
class PicturePace {
 public:
  void see(double steady_s);

  /// `one every 0.200 s; their times scatter by 3 ms`. The scatter is the standard uncertainty of a
  /// single time, if the camera takes them evenly: that of the distances over the root of two,
  /// by the median of their absolute deviations (1.4826 times it for a normal distribution).
  /// Empty before enough have come.
  [[nodiscard]] std::string text() const;

 private:
  std::deque<double> times_s_;
};

}  // namespace nightswing::tracker
