#include "tracker/spot/repeated_wall.h"

#include <algorithm>
#include <cstddef>
#include <utility>

#include "tracker/spot/sample_places.h"

namespace nightswing::tracker {
namespace {

constexpr double kMemory_frames = 20.0;
constexpr double kMostly = 0.7;  // camera noise of 0.3 counts and rounding repeat two thirds
constexpr int kFewestPlaces = 50;
constexpr std::uint8_t kBlack = 3;    // nothing can be told from places without light,
constexpr std::uint8_t kWhite = 250;  // nor from saturated ones

}  // namespace

bool RepeatedWall::look(const Picture& frame) {
  std::vector<std::uint8_t> now;
  now.reserve(last_.size());
  const cv::Size size = frame.size();
  const int step_px = sample_step_px(size);
  for (int row = step_px / 2; row < size.height; row += step_px) {
    for (int column = step_px / 2; column < size.width; column += step_px) {
      now.push_back(frame.gray_at(column, row));
    }
  }
  if (!last_.empty() && last_.size() == now.size()) {
    int places = 0;
    int same = 0;
    for (std::size_t k = 0; k < now.size(); ++k) {
      if (now[k] < kBlack || now[k] > kWhite) continue;
      ++places;
      if (now[k] == last_[k]) ++same;
    }
    if (places >= kFewestPlaces) {
      const double share = static_cast<double>(same) / places;
      ++frames_;
      repeated_share_ += (share - repeated_share_) / std::min(frames_, kMemory_frames);
    }
  }
  last_ = std::move(now);
  return repeated_share_ > kMostly;
}

}  // namespace nightswing::tracker
