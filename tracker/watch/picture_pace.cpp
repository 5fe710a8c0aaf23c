#include "tracker/watch/picture_pace.h"

#include <numbers>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/median.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kMost = 300;
constexpr std::size_t kFewest = 20;
constexpr std::size_t kFewestForPause = 4;
constexpr double kLeastPause_s = 1.0;
constexpr double kPause = 2.5;  // usual distances
constexpr int kMostTold = 50;

}  // namespace

std::string PicturePace::see(double steady_s) {
  std::string pause = std::exchange(came_back_, false) ? std::string() : pause_before(steady_s);
  times_s_.push_back(steady_s);
  if (times_s_.size() > kMost) times_s_.pop_front();
  return pause;
}

std::vector<double> PicturePace::distances_s() const {
  std::vector<double> distances_s;
  for (std::size_t k = 1; k < times_s_.size(); ++k) {
    distances_s.push_back(times_s_[k] - times_s_[k - 1]);
  }
  return distances_s;
}

std::string PicturePace::pause_before(double steady_s) {
  if (times_s_.size() < kFewestForPause) return {};
  const double pause_s = steady_s - times_s_.back();
  if (pause_s < kLeastPause_s || pause_s < kPause * analysis::median_of(distances_s())) return {};
  if (++pauses_ > kMostTold) return {};
  return fmt::format("no picture for {:.1f} s{}",
                     pause_s,
                     pauses_ < kMostTold ? "" : "; further pauses are counted, not told");
}

std::string PicturePace::untold_pauses() const {
  if (pauses_ <= kMostTold) return {};
  return fmt::format("in all there were {} pauses between pictures", pauses_);
}

std::string PicturePace::text() const {
  if (times_s_.size() < kFewest) return {};
  std::vector<double> distances_s = this->distances_s();
  const double usual_s = analysis::median_of(distances_s);
  for (double& distance_s : distances_s) distance_s -= usual_s;
  const double scatter_s = analysis::robust_sigma(std::move(distances_s)) / std::numbers::sqrt2;
  return fmt::format(
      "one every {:.3f} s; their times scatter by {:.1f} ms", usual_s, 1e3 * scatter_s);
}

}  // namespace nightswing::tracker
