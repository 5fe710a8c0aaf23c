#pragma once

#include <optional>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/motion/camera_motion.h"

namespace nightswing::calibration {

/// Finds how the camera was knocked when the fine patches have lost their places: in pictures of
/// about 320 pixels across, larger blocks of the reference are looked for all around (normalised
/// correlation), and the similarity that most of them agree on wins. Every pair of blocks proposes
/// one, so that no chance is involved. Reaches 6 % of the picture's width and 5 degrees; the result
/// is good to about a pixel or two.
class CoarseRegistration {
 public:
  /// `ignored`: CV_8UC1, nonzero where the reference holds what may move.
  CoarseRegistration(const cv::Mat& reference, const cv::Mat& ignored);

  /// Nothing if fewer than five blocks agree.
  [[nodiscard]] std::optional<CameraMotion> find(const cv::Mat& picture) const;

 private:
  struct Block {
    cv::Rect area;
    cv::Mat luma;
  };

  int reduction_;
  cv::Size size_;
  std::vector<Block> blocks_;
};

}  // namespace nightswing::calibration
