#pragma once

#include <array>
#include <cstdint>

#include <opencv2/core.hpp>

#include "tracker/spot/spot_patch.h"

namespace nightswing::tracker {

/// The learned picture of the wall without the spot: for each pixel the mean luma over those frames
/// in which the spot was elsewhere. The mean follows slow changes (it weighs the last 32 looks);
/// its memory is fixed. The first 8 frames are learned whole, afterwards one eighth of the rows a
/// frame and from frame 512 on one sixteenth, so that the work is spread. A pixel that differs by
/// more than 6 counts, a tenth and 4 times the wall's noise is not learned, because somebody may be
/// passing, until it has done so at 8 looks in a row: then it is learned anew.
class WallLight {
 public:
  /// Learns from a frame, leaving out two zones (in the frame, may be empty). All frames must have
  /// the size of the first.
  void learn(const Picture& frame, const cv::Rect& spot_zone, const cv::Rect& ghost_zone = {});

  /// Forgets everything; the next frames are learned anew.
  void forget();

  struct Change {
    bool sudden = false;  ///< a lamp, a jump of the automatic exposure, a knocked camera
    double drift = 0.0;  ///< counts by which the rest of the wall is brighter than what was learned
  };

  /// Sudden if more than 3 in 10 known places outside `spot_zone` differ from what was learned by
  /// more than 6 counts and by more than a tenth, but not if somebody walks through a part of the
  /// picture.
  [[nodiscard]] Change change_in(const Picture& frame, const cv::Rect& spot_zone) const;

  /// Makes all of the learned wall so much brighter, if it is half a count at least: at dawn, what
  /// was learned of one place before and of another after the spot had hidden it would not fit
  /// together.
  void follow(double drift);

  /// Takes what is known of the wall into account in a patch. Relative to a plane through the plain
  /// wall of the patch, brighter places (another light) are subtracted from the counts; darker ones
  /// (print) become a reflectance below 1, since print swallows the spot's light as it does the
  /// lamp's. On a wall of less than 8 counts that cannot be told: there darker places are raised to
  /// the plane. Places seen less than 8 times are left as they are.
  void prepare(SpotPatch& patch) const;

  static constexpr int kTrustedLooks = 8;  ///< before a pixel is trusted
  static constexpr int kStrangeLooks = 8;  ///< in a row, before one is learned anew

  /// Whether the pixel nearest to a place, which must be in the frame or near it, is trusted.
  [[nodiscard]] bool is_known(double x_px, double y_px) const;

  /// Mean luma, CV_32FC1, and number of looks, CV_8UC1 (0: not known); empty before the first
  /// frame.
  [[nodiscard]] const cv::Mat& mean() const { return mean_; }
  [[nodiscard]] const cv::Mat& looks() const { return looks_; }

 private:
  void learn_noise(const Picture& frame, int row);
  void learn_rows(const Picture& frame, const std::array<cv::Rect, 2>& zones, int first, int end);

  cv::Mat mean_;
  cv::Mat looks_;
  cv::Mat strange_;  ///< CV_8SC1, looks in a row at which a pixel was brighter (darker: negative)
  std::int64_t frames_ = 0;
  double noise_ = 0;  ///< counts, of one pixel from frame to frame
  int noise_frames_ = 0;
};

}  // namespace nightswing::tracker
