#pragma once

#include <span>

#include <Eigen/Core>

#include "calibration/map/wall_map.h"
#include "calibration/motion/camera_motion.h"

namespace nightswing::calibration {

/// One place of the reference and where it was found in the later picture.
struct PlacePair {
  PixelPoint reference;
  PixelPoint now;
};

/// Order of its six rows: shift x, shift y, rotation, zoom, keystone x, keystone y.
using MotionCovariance = Eigen::Matrix<double, 6, 6>;

struct MotionFit {
  CameraMotion motion;
  MotionCovariance covariance = MotionCovariance::Zero();
  double scatter_px = 0.0;  ///< of one coordinate of the places that agree
  int agreeing = 0;         ///< places within 3.5 scatters (at least 0.15 px) of the motion
};

/// Fits a motion to places of which up to half may be wrong, by least squares with Tukey's biweight
/// (weights as in P. Huber, Robust Statistics (1981), ch. 4 and 7; scale from the median residual).
/// The covariance is from the scatter of the places that agree.
/// A keystone needs texture all over the picture. Where there is none, a weak prior keeps it near
/// what a turning camera does: shift / f^2, where f is at least half the picture's width (a lens of
/// 90 degrees); a shift of less than one pixel counts as one.
///
/// start    where the search begins; places may be several px from it
///
/// throws   std::invalid_argument for fewer than three places.
[[nodiscard]] MotionFit fit_motion(std::span<const PlacePair> places,
                                   FrameSize frame,
                                   const CameraMotion& start);

/// Standard uncertainty [px] of the motion at a place of the reference, the worse coordinate.
[[nodiscard]] double motion_u_px(const MotionCovariance& covariance,
                                 PixelPoint centre,
                                 PixelPoint reference);

}  // namespace nightswing::calibration
