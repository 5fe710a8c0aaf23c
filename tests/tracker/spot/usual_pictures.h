#pragma once

#include <opencv2/core.hpp>

#include "tests/support/synthetic_spot.h"

/// What pictures of a spot are made with where nothing else matters.
namespace nightswing::test {

inline const cv::Size kPictureSize(320, 240);  ///< [px]
inline const cv::Rect kNowhere;                ///< hides no pixel

/// Noise of one count from reading alone.
inline constexpr CameraTruth kQuietCamera{1.0, 0, 0};

}  // namespace nightswing::test
