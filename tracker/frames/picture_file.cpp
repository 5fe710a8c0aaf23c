#include "tracker/frames/picture_file.h"

#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>

#include "analysis/input_error.h"

namespace nightswing::tracker {

void write_picture(const std::filesystem::path& path, const cv::Mat& picture) {
  if (!cv::imwrite(path.string(), picture)) {
    throw InputError(fmt::format("cannot write the picture {}; is the disk full?", path.string()));
  }
}

cv::Mat read_picture(const std::filesystem::path& path) {
  if (!std::filesystem::exists(path)) return {};  // OpenCV would write a line of its own
  return cv::imread(path.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
}

}  // namespace nightswing::tracker
