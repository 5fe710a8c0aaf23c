#pragma once

#include <vector>

#include <opencv2/core.hpp>

#include "tracker/spot/wall_light.h"

namespace nightswing::tracker {

/// A place in the whole frame that is brighter than the wall around it.
struct SpotCandidate {
  double x_px;
  double y_px;
  double score;  ///< counts above the wall, more if the light is coloured as a laser's is
};

/// What a look at the whole frame shows.
struct FrameSearch {
  std::vector<SpotCandidate> candidates;  ///< best first, at most 6; one at least
  double mean_luma = 0;
};

/// Searches a frame, reduced to a quarter of its size, for small lights outside `left_out` (may be
/// empty). Where the wall is known, light is what exceeds it. Elsewhere it is what exceeds the
/// surroundings, with dark details filled in first: white paper between printed marks is bright
/// only in comparison with its neighbours, not with the paper, and is thereby no candidate. Takes
/// some milliseconds for 1280 x 720.
[[nodiscard]] FrameSearch search_frame(const Picture& frame,
                                       const WallLight& wall,
                                       const cv::Rect& left_out);

/// Rough width [px, Gaussian sigma] of the light at the middle of a patch, from the area that is
/// above half of its peak; 0 if there is no light.
[[nodiscard]] double rough_width_px(const SpotPatch& patch, double x_px, double y_px);

}  // namespace nightswing::tracker
