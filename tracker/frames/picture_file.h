#pragma once

#include <filesystem>

#include <opencv2/core.hpp>

namespace nightswing::tracker {

/// In the format of the name's ending, written beside and renamed, so that it is whole or not
/// there. throws InputError if it cannot be written.
void write_picture(const std::filesystem::path& path, const cv::Mat& picture);

/// The picture as stored, 8-bit BGR, no rotation applied; empty if it cannot be read.
[[nodiscard]] cv::Mat read_picture(const std::filesystem::path& path);

}  // namespace nightswing::tracker
