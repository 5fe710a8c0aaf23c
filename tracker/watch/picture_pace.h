#pragma once

#include <deque>
#include <string>
#include <vector>

namespace nightswing::tracker {

/// How evenly the pictures of a camera come, by the last few hundred of them.
class PicturePace {
 public:
  /// The next picture. Returns `no picture for 1.4 s` for a pause before it of a second or more and
  /// two and a half usual distances, such as damaged pictures leave (a single one that is missing
  /// is none); empty else, and for those after the first fifty.
  std::string see(double steady_s);

  /// The camera was lost and is back: the pause before the next picture has been told.
  void come_back() { came_back_ = true; }

  /// How many pauses there were, if not all of them have been told; else empty.
  [[nodiscard]] std::string untold_pauses() const;

  /// `one every 0.200 s; their times scatter by 3 ms`. The scatter is the standard uncertainty of a
  /// single time, if the camera takes them evenly: that of the distances over the root of two,
  /// by the median of their absolute deviations (1.4826 times it for a normal distribution).
  /// Empty before enough have come.
  [[nodiscard]] std::string text() const;

 private:
  [[nodiscard]] std::vector<double> distances_s() const;
  [[nodiscard]] std::string pause_before(double steady_s);

  std::deque<double> times_s_;
  int pauses_ = 0;
  bool came_back_ = false;
};

}  // namespace nightswing::tracker
