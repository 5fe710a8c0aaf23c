// What SpotFinder does about film that leaves small differences out.
#include <algorithm>
#include <cmath>

#include "tracker/spot/spot_finder.h"

namespace nightswing::tracker {
namespace {

constexpr double kFastWidening = 1.2;   // of the uncertainty; see the header
constexpr double kCreepWidening = 1.8;  // the same of a spot that hardly moves
constexpr double kCreep_px = 0.3;       // a frame: half-way between
constexpr double kTurnDoubt = 0.3;      // of the acceleration; empirical, as the widening is
constexpr double kTurning_px = 1.0;     // a frame: at that speed half of it
constexpr double kNoTravel = 2.0;       // uncertainties
constexpr double kStaleReach_sigmas = 2.0;
constexpr double kStaleShare = 0.4;  // of the spot's pixels

}  // namespace

/// Share of the spot's pixels that are exactly as they were in the frame before. Saturated ones are
/// left out, since they are so without compression.
double SpotFinder::stale_share(const cv::Mat& luma, const cv::Rect& area) const {
  const cv::Rect both = area & coding_.area;
  const SpotShape& shape = followed_->fit.shape;
  int pixels = 0;
  int same = 0;
  for (int y = both.y; y < both.y + both.height; ++y) {
    const auto* now = luma.ptr<std::uint8_t>(y - area.y);
    const auto* last = coding_.luma.ptr<std::uint8_t>(y - coding_.area.y);
    const double v = (y - shape.y_px) / shape.sigma_y_px;
    for (int x = both.x; x < both.x + both.width; ++x) {
      const double u = (x - shape.x_px) / shape.sigma_x_px;
      if (u * u + v * v > kStaleReach_sigmas * kStaleReach_sigmas) continue;
      if (now[x - area.x] >= kSaturation) continue;
      ++pixels;
      if (now[x - area.x] == last[x - coding_.area.x]) ++same;
    }
  }
  return pixels > 0 ? static_cast<double>(same) / pixels : 0.0;
}

/// Blocks of the spot that film has repeated are where the spot was: it may have gone on meanwhile
/// as fast as it did before.
void SpotFinder::note_coding(const Picture& frame) {
  if (!lossy_film_) {
    coding_ = {};
    return;
  }
  const SpotShape& shape = followed_->fit.shape;
  const int half_px = static_cast<int>(std::ceil(kStaleReach_sigmas * larger_sigma(shape))) + 1;
  const cv::Rect area = square_around(shape.x_px, shape.y_px, half_px, size_);
  const cv::Mat luma = frame.gray(area);
  const double stale = stale_share(luma, area);
  const int frames = ++coding_.frames;
  const SpotFit& fit = followed_->fit;
  // Less what may be no travel.
  const double travel_px =
      std::hypot(shape.x_px - coding_.fresh_x_px, shape.y_px - coding_.fresh_y_px) -
      kNoTravel * coding_widening() * std::hypot(fit.u_x_px, fit.u_y_px);
  if (stale > kStaleShare) {
    // That of a creeping spot is in the widening.
    coding_.lag_px = coding_.speed_px > kCreep_px ? stale * frames * coding_.speed_px : 0.0;
  } else {
    coding_.lag_px = 0.0;
    coding_.speed_px = coding_.luma.empty() ? 0.0 : std::max(travel_px, 0.0) / frames;
    coding_.fresh_x_px = shape.x_px;
    coding_.fresh_y_px = shape.y_px;
    coding_.frames = 0;
  }
  coding_.luma = luma.clone();
  coding_.area = area;
}

/// Coding takes as much of a displacement for noise in a fast spot as in a creeping one, which it
/// displaces alike for long.
double SpotFinder::coding_widening() const {
  if (!lossy_film_) return 1.0;
  const double speed_px = std::hypot(followed_->speed_x_px, followed_->speed_y_px);
  return kFastWidening + (kCreepWidening - kFastWidening) / (1.0 + speed_px / kCreep_px);
}

/// Pictures between two others are foretold along a straight line, and what is left to be coded of
/// a small error is left out. A faster spot changes so much that it is coded.
cv::Point2d SpotFinder::turn_doubt_px() const {
  if (!lossy_film_) return {};
  const double speed_px = std::hypot(followed_->speed_x_px, followed_->speed_y_px) / kTurning_px;
  const double part = kTurnDoubt / (1.0 + speed_px * speed_px);
  return {part * std::abs(followed_->acceleration_x_px),
          part * std::abs(followed_->acceleration_y_px)};
}

}  // namespace nightswing::tracker
