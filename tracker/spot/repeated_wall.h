#pragma once

#include <cstdint>
#include <vector>

#include "tracker/frames/picture.h"

namespace nightswing::tracker {

/// Tells lossy film from camera pictures. A camera's noise makes the wall differ from one frame to
/// the next; lossy film repeats most of it exactly, because leaving small differences out is how it
/// saves. It then also drags and rounds the place of the spot, which leaves no trace in the shape
/// of the spot and so cannot be seen in a single frame.
class RepeatedWall {
 public:
  /// Compares a grid of places with the frame before; returns whether more than 7 in 10 of them are
  /// exactly as they were, averaged over the last 20 frames. Black and saturated places are left
  /// out, since they repeat without compression. Luma counts; the frames are of one size.
  bool look(const Picture& frame);

 private:
  std::vector<std::uint8_t> last_;
  double repeated_share_ = 0;
  double frames_ = 0;
};

}  // namespace nightswing::tracker
