#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>

#include "tracker/frames/picture.h"

namespace nightswing::tracker {

/// A rectangle cut out of a frame and prepared for the fit. All arrays are (column, row) of the
/// picture, so that a row of the picture is contiguous; entry (0, 0) is the pixel (left_px,
/// top_px).
struct SpotPatch {
  int left_px = 0;
  int top_px = 0;
  Eigen::ArrayXXd counts;  ///< luma (0 to 255) less the bright part of the learned wall
  Eigen::ArrayXXd
      reflectance;           ///< of the wall relative to its surroundings: 1 plain, 0 black print
  Eigen::ArrayXXd at_least;  ///< 1 where `counts` is only a lower bound (a channel is saturated)
  int merged = 1;  ///< a pixel of the patch is the mean of so many by so many of the camera's

  [[nodiscard]] Eigen::Index columns() const { return counts.rows(); }
  [[nodiscard]] Eigen::Index rows() const { return counts.cols(); }
};

/// Cuts the luma of `area` (inside the frame) out of the frame, with nothing known of the
/// wall: reflectance 1. A pixel counts as saturated when any channel reaches `saturation` counts,
/// or when it lies within 2 px of such a pixel and is as bright: compression smears colour over
/// that distance, so that a saturated red at the rim of the core is decoded as less.
[[nodiscard]] SpotPatch cut_patch(const Picture& frame, const cv::Rect& area, int saturation);

/// The same patch in pixels `across` times as large: means of across x across pixels (columns and
/// rows that are left over at the end are left out); "at least" if any of them is. Its top left
/// pixel is (0, 0).
[[nodiscard]] SpotPatch merged(const SpotPatch& patch, int across);

/// The square of half-width `half_px` around a place, cut at the border of the frame; empty when
/// the place is so far outside that nothing is left.
[[nodiscard]] cv::Rect square_around(double x_px, double y_px, int half_px, cv::Size frame_size);

/// Where a patch lies in its frame.
[[nodiscard]] cv::Rect area_of(const SpotPatch& patch);

/// Values of a patch's pixels as a picture, each the mean over a square of 2 half_px + 1 pixels:
/// values(i, j) stands in column i of row j.
[[nodiscard]] cv::Mat smoothed(const Eigen::ArrayXXd& values, int half_px);

}  // namespace nightswing::tracker
