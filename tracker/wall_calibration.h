#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include <opencv2/core.hpp>

#include "calibration/wall_map.h"

namespace nightswing::tracker {

/// The map by the printed scale in the picture (8-bit BGR or gray).
/// throws InputError if no scale can be read in it: the text says why and what to do.
[[nodiscard]] calibration::WallMap map_from_picture(const cv::Mat& picture,
                                                    const std::string& picture_name);

/// The map by points set by hand. Each text is either `x_px,y_px=x` (a reading of a ruler that runs
/// along the spot's path; two or more) or `x_px,y_px=x,y` (a place on the wall; four or more), in
/// mm unless another unit of length stands behind, as in `412.5,388.0=120mm`.
///   u_px  standard uncertainty of a point's pixel
/// throws InputError for a text of another form, a mixture of both forms, or points that make no
/// map.
[[nodiscard]] calibration::WallMap map_from_points(const std::vector<std::string>& texts,
                                                   double u_px,
                                                   calibration::FrameSize frame);

/// One paragraph for people: kind, residuals, mm per pixel, what to know.
[[nodiscard]] std::string describe(const calibration::WallMap& map);

}  // namespace nightswing::tracker
