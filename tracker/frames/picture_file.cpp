#include "tracker/frames/picture_file.h"

#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {

void write_picture(const std::filesystem::path& path, const cv::Mat& picture) {
  std::filesystem::path beside = path;  // with its ending, by which the format is chosen
  beside.replace_filename("new_" + path.filename().string());
  std::error_code failed;
  const bool is_written = cv::imwrite(beside.string(), picture);
  if (is_written) std::filesystem::rename(beside, path, failed);
  if (is_written && !failed) return;
  std::error_code none;
  std::filesystem::remove(beside, none);
  throw InputError(fmt::format("cannot write the picture {}; is the disk full?", path.string()));
}

cv::Mat read_picture(const std::filesystem::path& path) {
  if (!std::filesystem::exists(path)) return {};  // OpenCV would write a line of its own
  try {
    return cv::imread(path.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  } catch (const cv::Exception&) {  // such as of a head that tells a size beyond all measure
    return {};
  }
}

}  // namespace nightswing::tracker
