// In which sum of the colours SpotFinder measures.
#include "tracker/spot/spot_finder.h"

namespace nightswing::tracker {

/// A light that has moved is the spot, and of a film it is known by then whether it is lossy: its
/// colours are coarser than its luma, and drag even more.
void SpotFinder::look_at_colour(const Picture& frame) {
  if (colour_.is_decided() || lossy_film_ || !followed_ || !followed_->has_moved ||
      followed_->misses > 0 || followed_->age < kYoung) {
    return;
  }
  const auto fit = colour_.compare(frame, followed_->fit, kSaturation);
  if (!fit) return;
  // All that has been learned is luma.
  wall_.forget();
  fixed_.clear();
  ghost_.forget();
  rival_.reset();
  brighter_.reset();
  width_.forget();
  followed_->fit = *fit;
}

}  // namespace nightswing::tracker
