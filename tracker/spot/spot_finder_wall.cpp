// What SpotFinder learns of the wall behind the spot, and when it forgets it.
#include <cmath>

#include "tracker/spot/spot_finder.h"

namespace nightswing::tracker {
namespace {

constexpr double kZone_sigmas = 6.0;  // half-width of what is not learned as wall
constexpr int kMostBlackFrames = 20;  // longer, and the light was switched off
constexpr int kDoubtEvery = 8;        // frames, while the spot is young,
constexpr int kDoubtLater = 32;       // and later

}  // namespace

/// Forgets the wall when its light has changed suddenly, but not for a few black frames.
void SpotFinder::note_light(const Picture& frame) {
  const WallLight::Change change = wall_.change_in(frame, spot_zone());
  const bool black = change.sudden && cv::mean(frame.gray(frame.area()))[0] < kDarkLuma;
  black_frames_ = black && black_frames_ < kMostBlackFrames ? black_frames_ + 1 : 0;
  if (!change.sudden) wall_.follow(change.drift);
  if (!change.sudden || black_frames_ > 0) return;
  remember_fixed_lights();
  note_grain_doubt(frame);
  wall_.forget();
}

/// Lights of a spot's shape in the learned wall.
void SpotFinder::remember_fixed_lights() {
  if (wall_.mean().empty() || !followed_ || !followed_->has_moved) return;
  cv::Mat wall;
  wall_.mean().convertTo(wall, CV_8U);
  // Where the wall is not known yet, nothing was learned: zeros, not light.
  for (const SpotCandidate& candidate : search_frame(wall, WallLight(), {}).candidates) {
    if (!wall_.is_known(candidate.x_px, candidate.y_px)) continue;
    const Judged judged = look_at_candidate(wall, candidate, Learned::kIgnored);
    if (judged.verdict == Verdict::kSpot) fixed_.remember(judged.fit.shape);
  }
}

/// Where the spot's light may be: not to be learned as wall.
cv::Rect SpotFinder::spot_zone() const {
  if (!followed_) return {};
  const SpotShape& shape = followed_->fit.shape;
  const double sigmas = followed_->misses > 0 ? 2.0 * kZone_sigmas : kZone_sigmas;
  const int half_px = static_cast<int>(std::ceil(sigmas * larger_sigma(shape))) + 4;
  return square_around(shape.x_px, shape.y_px, half_px, size_);
}

/// The surroundings of the followed spot in this frame, as they are.
SpotPatch SpotFinder::followed_patch(const Picture& frame) const {
  const SpotShape& shape = followed_->fit.shape;
  const int half_px = patch_half_px(larger_sigma(shape));
  return cut_patch(frame, square_around(shape.x_px, shape.y_px, half_px, size_), kSaturation);
}

/// While the wall behind the spot is not known. That takes some work, so it is not told anew for
/// every frame; and while nothing is known of the wall around either, it stays as it was.
void SpotFinder::note_wall_doubt(const Picture& frame) {
  const int every = followed_->age < kYoung ? kDoubtEvery : kDoubtLater;
  if (followed_->age % every != 0) return;
  const auto doubt = doubt_of_wall(followed_patch(frame), followed_->fit, wall_);
  if (doubt) wall_doubt_ = *doubt;
}

/// Before the wall is forgotten because of another light: its grain goes with the light.
void SpotFinder::note_grain_doubt(const Picture& frame) {
  if (!followed_ || wall_.mean().empty()) return;
  const cv::Mat known = wall_.looks() >= WallLight::kTrustedLooks;
  const double before = cv::mean(wall_.mean(), known)[0];
  if (before < kDarkLuma) return;  // what was learned in the dark is noise
  SpotPatch patch = followed_patch(frame);
  patch.at_least.setZero();  // the new light may be too bright
  const auto doubt = doubt_of_grain(patch, followed_->fit, wall_);
  if (!doubt) return;
  const double gain = cv::mean(frame.gray(frame.area()))[0] / before;
  wall_doubt_ = {gain * doubt->x_px, gain * doubt->y_px};
}

}  // namespace nightswing::tracker
