// What SpotFinder does about a second image of the spot.
#include <algorithm>
#include <cmath>

#include "tracker/spot/spot_finder.h"

namespace nightswing::tracker {
namespace {

constexpr int kGhostEvery = 8;   // frames, once one was seen
constexpr int kGhostFirst = 16;  // before, while the spot is young
constexpr int kGhostLater = 256;
constexpr int kGhostYoung = 512;
constexpr int kGhostLook = 4;  // frames between looks at a known ghost
constexpr double kGhostApart_sigmas = 6.0;
constexpr double kGhostReach_sigmas = 8.0;
constexpr double kGhostZone_sigmas = 5.0;
constexpr double kUnknownPart = 0.577;  // standard deviation of anything from -1 to 1: 1 / sqrt(3)
constexpr double kGhostLeastShare = 0.06;  // of the spot's peak
constexpr double kGhostMostShare = 0.8;
constexpr double kMostBrighter = 10.0;  // the spot, if the ghost is followed
constexpr int kBrighterFrames = 3 * kGhostEvery;

/// How far a weak light pulls a fit that does not know of it: first order of least squares with two
/// Gaussians of one width, share * distance * exp(-distance^2 / (4 sigma^2)). Coding may leave the
/// light out where the two cross, or drag it along.
cv::Point2d pull_of(const SpotShape& light, const SpotShape& spot) {
  const cv::Point2d apart_px(light.x_px - spot.x_px, light.y_px - spot.y_px);
  const double sigmas = std::hypot(apart_px.x, apart_px.y) / width_of(spot);
  return light.peak / spot.peak * std::exp(-0.25 * sigmas * sigmas) * apart_px;
}

}  // namespace

void SpotFinder::look_for_ghost(const Picture& frame) {
  brighter_frames_ = std::max(brighter_frames_ - 1, 0);
  if (!followed_->has_moved) return;
  const SpotShape& spot = followed_->fit.shape;
  if (const auto ghost = ghost_.at(spot.x_px, spot.y_px)) {
    if (followed_->age % kGhostLook == 0) look_at_ghost(frame, *ghost);
    return;
  }
  const int unseen = followed_->age < kGhostYoung ? kGhostFirst : kGhostLater;
  const int every = ghost_.sightings() > 0 ? kGhostEvery : unseen;
  if (followed_->age % every != 0) return;
  for (const SpotCandidate& candidate : search_frame(frame, wall_, spot_zone()).candidates) {
    const double apart_px = std::hypot(candidate.x_px - spot.x_px, candidate.y_px - spot.y_px);
    if (apart_px < kGhostApart_sigmas * larger_sigma(spot)) continue;
    const Judged judged = look_at_candidate(frame, candidate, Learned::kUsed);
    const double share = judged.fit.shape.peak / spot.peak;
    const bool weaker = share > kGhostLeastShare && share < kGhostMostShare;
    const bool brighter = share > 1.0 / kGhostMostShare && share < kMostBrighter;
    if (judged.verdict != Verdict::kSpot || !(weaker || brighter)) continue;
    if (brighter) note_brighter(judged.fit.shape);
    ghost_.note(spot, judged.fit.shape);
    const auto known = ghost_.at(spot.x_px, spot.y_px);
    if (brighter && known && known->peak > spot.peak) {
      ghost_.forget();
      brighter_frames_ = 0;
      brighter_.reset();
      switch_to(judged.fit);
    }
    return;
  }
}

/// A light that does not move is no spot, however bright.
void SpotFinder::note_brighter(const SpotShape& light) {
  if (brighter_ && std::hypot(light.x_px - brighter_->x_px, light.y_px - brighter_->y_px) >
                       kMovedSigmas * width_of(light)) {
    brighter_frames_ = kBrighterFrames;
  }
  brighter_ = light;
}

void SpotFinder::look_at_ghost(const Picture& frame, const SpotShape& ghost) {
  const SpotShape& spot = followed_->fit.shape;
  if (std::hypot(ghost.x_px - spot.x_px, ghost.y_px - spot.y_px) <
      kGhostApart_sigmas * larger_sigma(spot)) {
    return;
  }
  const SpotFitStart start{ghost.x_px, ghost.y_px, ghost.sigma_x_px, ghost.sigma_y_px, {}};
  const cv::Rect area =
      square_around(ghost.x_px, ghost.y_px, patch_half_px(larger_sigma(ghost)), size_);
  if (area.empty()) return;
  SpotPatch patch = cut_patch(frame, area, kSaturation);
  wall_.prepare(patch);
  const SpotFit fit = fit_spot(patch, start);
  if (judge(patch, fit, Learned::kUsed) == Verdict::kSpot) ghost_.note(spot, fit.shape);
}

/// The ghost goes with the spot: first where the spot should be, then where it was found.
SpotFit SpotFinder::fit_beside_ghost(const SpotPatch& patch, const SpotFitStart& start) const {
  const auto ghost = ghost_.at(start.x_px, start.y_px);
  const auto apart_px = [&](const SpotShape& light, double x_px, double y_px) {
    return std::hypot(light.x_px - x_px, light.y_px - y_px);
  };
  if (!ghost ||
      apart_px(*ghost, start.x_px, start.y_px) > kGhostReach_sigmas * larger_sigma(start)) {
    return fit_spot(patch, start);
  }
  SpotPatch without = patch;
  SpotFitStart next = start;
  SpotFit fit;
  SpotShape light = *ghost;
  for (int round = 0; round < 3; ++round) {
    without.counts = patch.counts - SpotModel(patch, light).spot();
    fit = fit_spot(without, next);
    if (!fit.converged) return fit;
    next = start_at(fit);
    next.noise.reset();
    next.form_is_known = start.form_is_known;
    light = *ghost_.at(fit.shape.x_px, fit.shape.y_px);
  }
  if (apart_px(light, fit.shape.x_px, fit.shape.y_px) < 4.0 * larger_sigma(fit.shape)) {
    const double u_px = ghost_.scatter_px() * light.peak / fit.shape.peak;
    fit.u_x_px = std::hypot(fit.u_x_px, u_px);
    fit.u_y_px = std::hypot(fit.u_y_px, u_px);
    if (lossy_film_) {
      const cv::Point2d pull_px = pull_of(light, fit.shape);
      fit.u_x_px = std::hypot(fit.u_x_px, kUnknownPart * pull_px.x);
      fit.u_y_px = std::hypot(fit.u_y_px, kUnknownPart * pull_px.y);
    }
  }
  return fit;
}

/// Where a known ghost's light is: not to be learned as wall.
cv::Rect SpotFinder::ghost_zone() const {
  if (!followed_) return {};
  const auto ghost = ghost_.at(followed_->fit.shape.x_px, followed_->fit.shape.y_px);
  if (!ghost) return {};
  const double half_px = kGhostZone_sigmas * larger_sigma(*ghost);
  return square_around(ghost->x_px, ghost->y_px, static_cast<int>(std::ceil(half_px)), size_);
}

/// Whether a light may be the ghost, its spot being covered.
bool SpotFinder::is_ghostly(const SpotFit& fit) const {
  if (!followed_) return false;
  const SpotShape& spot = followed_->fit.shape;
  const auto ghost = ghost_.at(spot.x_px, spot.y_px);
  return ghost && std::abs(std::log(fit.shape.peak / ghost->peak)) < 0.4;
}

}  // namespace nightswing::tracker
