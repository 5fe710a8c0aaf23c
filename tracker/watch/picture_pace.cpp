#include "tracker/watch/picture_pace.h"

#include <cmath>
#include <numbers>
#include <vector>

#include <fmt/format.h>

#include "analysis/track_cleaning.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kMost = 300;
constexpr std::size_t kFewest = 20;
constexpr double kNormal = 1.4826;

}  // namespace

void PicturePace::see(double steady_s) {
  times_s_.push_back(steady_s);
  if (times_s_.size() > kMost) times_s_.pop_front();
}

std::string PicturePace::text() const {
  if (times_s_.size() < kFewest) return {};
  std::vector<double> distances_s;
  for (std::size_t k = 1; k < times_s_.size(); ++k) {
    distances_s.push_back(times_s_[k] - times_s_[k - 1]);
  }
  const double usual_s = analysis::median_of(distances_s);
  for (double& distance_s : distances_s) distance_s = std::abs(distance_s - usual_s);
  const double scatter_s = kNormal * analysis::median_of(distances_s) / std::numbers::sqrt2;
  return fmt::format(
      "one every {:.3f} s; their times scatter by {:.1f} ms", usual_s, 1e3 * scatter_s);
}

}  // namespace nightswing::tracker
