#pragma once

#include <array>
#include <optional>
#include <vector>

#include <Eigen/Core>
#include <opencv2/core.hpp>

#include "calibration/map/spaces.h"

namespace nightswing::calibration {

/// Luma of an 8-bit BGR or gray picture around a place, as numbers; only what is asked for is
/// converted.
class LumaWindow {
 public:
  /// The square of half-width `half_px` around a pixel. It must lie inside the picture.
  LumaWindow(const cv::Mat& picture, cv::Point centre, int half_px);

  [[nodiscard]] int side_px() const { return side_px_; }
  [[nodiscard]] const float* row(int y) const { return values_.data() + y * side_px_; }

 private:
  int side_px_;
  std::vector<float> values_;
};

/// A small square of the reference picture that can be found again in a later one.
///
/// The later picture is modelled as gain * reference(place - displacement) + offset. The
/// displacement is found by Gauss-Newton steps with the derivatives of the reference, which stay
/// the same in all steps (inverse compositional alignment: S. Baker, I. Matthews, Int. J. Computer
/// Vision 56 (2004) 221); gain and offset are further columns of the same least squares, so that a
/// lamp or the camera's exposure do not matter.
///
/// Both pictures are taken as smoothed by a cubic B-spline, which between pixels displaces detail
/// of angular frequency w [rad/px] by (w/(2 pi - w))^4 / w at most: 0.001 px for w = 1, 0.02 px for
/// the finest ticks that can be told apart (alias terms of the spline: M. Unser, IEEE Signal
/// Processing Mag. 16(6) (1999) 22). Interpolating cubics do ten times worse.
class TexturePatch {
 public:
  static constexpr int kHalf_px = 8;
  static constexpr int kSide_px = 2 * kHalf_px + 1;
  static constexpr int kReach_px = 3;  ///< a patch further off than this is not found
  /// A patch needs so much room around its centre.
  static constexpr int kMargin_px = kHalf_px + kReach_px + 3;

  /// `centre` is at least kMargin_px from the border of the reference. `turn` is how its
  /// surroundings are turned in the pictures to come (local_turn, by 5 degrees and 5 % at most):
  /// without it the place found would belong to wherever in the square the texture is, not to its
  /// centre.
  TexturePatch(const cv::Mat& reference,
               cv::Point centre,
               const Eigen::Matrix2d& turn = Eigen::Matrix2d::Identity());

  [[nodiscard]] PixelPoint centre() const {
    return {static_cast<double>(centre_.x), static_cast<double>(centre_.y)};
  }

  /// Standard uncertainty of the patch's place, the worse coordinate, for noise of one count in
  /// each pixel; infinite for a patch without texture.
  [[nodiscard]] double u_px_per_count() const { return u_px_per_count_; }

  struct Match {
    PixelPoint place;    ///< of the patch's centre in the later picture
    double correlation;  ///< with the reference, -1 to 1
  };

  /// Finds the patch near `expected`. Nothing if it is not within kReach_px, if what is there does
  /// not look like it (correlation below 0.8) or if too little of the picture is there to tell.
  [[nodiscard]] std::optional<Match> find(const cv::Mat& picture, PixelPoint expected) const;

  /// One rough step instead of a search: good to a tenth of the distance from `expected`, a tenth
  /// of the work. Enough to see that something moved.
  [[nodiscard]] std::optional<Match> glance(const cv::Mat& picture, PixelPoint expected) const;

 private:
  static constexpr std::size_t kPixels = std::size_t{kSide_px} * kSide_px;
  using Sample = std::array<float, kPixels>;

  struct Step {
    double x_px;
    double y_px;
    double correlation;
  };

  /// Learns from the square and one pixel around it.
  using Surroundings = std::array<std::array<float, kSide_px + 2>, kSide_px + 2>;
  void prepare(const Surroundings& luma);
  [[nodiscard]] std::optional<Step> step(const Sample& sample) const;

  cv::Point centre_;
  Sample reference_{};
  /// Rows of the pseudo-inverse of (slope along x, slope along y, reference, 1), without the last.
  std::array<Sample, 3> solve_{};
  double u_px_per_count_;
};

}  // namespace nightswing::calibration
