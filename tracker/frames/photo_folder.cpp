#include "tracker/frames/photo_folder.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/frames/picture_file.h"

namespace nightswing::tracker {
namespace {

/// A JPEG file that breaks off is filled up with plain gray by its decoder.
bool breaks_off(const cv::Mat& picture) {
  constexpr int kRows = 8;  // of a block
  constexpr double kFill = 128.0;
  if (picture.rows < 2 * kRows) return false;
  const cv::Mat last = picture.rowRange(picture.rows - kRows, picture.rows).reshape(1);
  double least = 0.0;
  double most = 0.0;
  cv::minMaxLoc(last, &least, &most);
  return least == kFill && most == kFill;
}

}  // namespace

PhotoFolder::PhotoFolder(std::filesystem::path folder, const SourceOptions& options)
    : folder_(std::move(folder)), photos_(list_photos(folder_)) {
  try {
    times_ = time_photos(photos_, options);
  } catch (const InputError& error) {
    throw InputError(fmt::format("{}: {}", folder_.string(), error.what()));
  }
  // The first one that can be read says how large the pictures are.
  cv::Mat picture;
  const auto first = std::ranges::find_if(
      photos_, [&](const PhotoStamp& photo) { return read(photo, picture).empty(); });
  if (first == photos_.end()) {
    throw InputError(fmt::format(
        "none of the {} photographs in {} can be read", photos_.size(), folder_.string()));
  }
  facts_ = {.width_px = picture.cols,
            .height_px = picture.rows,
            .rotation_deg = static_cast<double>(first->turn_deg),
            .time_from = times_.time_from,
            .start = times_.start,
            .start_from = times_.start_from};
  first_s_ = times_.t_s[static_cast<std::size_t>(first - photos_.begin())];
  if (facts_.start) facts_.start = after(*facts_.start, first_s_);
  note_turns();
}

void PhotoFolder::note_turns() {
  const auto turned = std::ranges::count_if(photos_, [&](const PhotoStamp& photo) {
    return static_cast<double>(photo.turn_deg) != facts_.rotation_deg;
  });
  if (turned == 0) return;
  times_.warnings.push_back(fmt::format(
      "{} photographs say that the camera was held another way; pictures are used as stored",
      turned));
}

std::optional<long> PhotoFolder::declared_frames() const {
  return static_cast<long>(photos_.size());
}

std::string PhotoFolder::read(const PhotoStamp& photo, cv::Mat& picture) const {
  picture = read_picture(folder_ / photo.name);
  if (picture.empty()) return fmt::format("{} cannot be read", photo.name);
  if (breaks_off(picture)) return fmt::format("{} breaks off", photo.name);
  if (facts_.width_px != 0 &&
      (picture.cols != facts_.width_px || picture.rows != facts_.height_px)) {
    return fmt::format("{} has {} x {} pixels", photo.name, picture.cols, picture.rows);
  }
  return {};
}

bool PhotoFolder::next(Frame& frame) {
  frame.gap.clear();
  const auto tell = [&](const std::string& what) {
    if (!what.empty()) frame.gap += (frame.gap.empty() ? "" : "; ") + what;
  };
  while (next_ < photos_.size()) {
    const std::size_t k = next_++;
    tell(times_.gaps[k]);
    cv::Mat pixels;
    const std::string fault = read(photos_[k], pixels);
    if (fault.empty()) {
      frame.picture = pixels;
      frame.t_s = times_.t_s[k] - first_s_;
      return true;
    }
    ++left_out_;
    tell(fault + " and was left out");
  }
  if (left_out_ > 0) {
    times_.warnings.push_back(
        fmt::format("{} photographs were left out", std::exchange(left_out_, 0)));
  }
  return false;
}

}  // namespace nightswing::tracker
