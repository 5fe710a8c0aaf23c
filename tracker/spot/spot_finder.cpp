#include "tracker/spot/spot_finder.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <vector>

#include <opencv2/imgproc.hpp>

#include "calibration/map/median.h"

namespace nightswing::tracker {
namespace {

constexpr double kLeastPeak = 4.0;          // counts above the wall
constexpr double kLeastWidth_px = 0.7;      // sigma; anything narrower is a hot pixel,
constexpr double kMostWidth_px = 40.0;      // anything wider a change of the room's light
constexpr double kEdge_sigmas = 2.0;        // a spot nearer to the border is cut
constexpr double kLeastSignificance = 6.0;  // of a spot of known width
constexpr double kFirstSignificance = 8.0;  // while nothing is known
constexpr double kLongestAspect = 4.0;
constexpr double kFarTooWide = 3.0;    // times the learned width: not the spot's light
constexpr double kCoreClipped = 0.02;  // share of saturated pixels within one sigma
constexpr int kFormEvery = 32;  // frames: whether the spot is seen to be slanted or to have a halo
constexpr int kCoastingFrames = 8;           // the speed is believed for so long
constexpr double kAccelerationMemory = 8.0;  // frames; that of a single one is mostly noise
constexpr int kRivalEvery = 4;               // frames, while the spot is young; later 8 times rarer
constexpr int kRivalSightings = 3;
constexpr int kRivalMisses = 4;
constexpr double kRivalShare = 0.1;  // of the followed light's peak
constexpr int kRoughPatch_px = 40;
constexpr int kStillFrames = 400;
constexpr int kUndecided = 512;      // frames in which a brighter moving light is waited for
constexpr int kFaintMisses = 25;     // frames after which a light of less than
constexpr double kFaintShare = 0.5;  // this share of the last one's peak may be the spot
constexpr double kSameRival = 1.6;   // peaks of one and the same light, at most that far apart
// Counts. Lossy film makes its wall quieter than the specks that it leaves of the camera's noise.
constexpr double kLossyNoise = 2.0;

/// Of the spot's own axes: the root of the ratio of the eigenvalues of its inverse covariance.
double aspect_of(const SpotShape& shape) {
  const double x = 1.0 / (shape.sigma_x_px * shape.sigma_x_px);
  const double y = 1.0 / (shape.sigma_y_px * shape.sigma_y_px);
  const double xy = shape.slant / (shape.sigma_x_px * shape.sigma_y_px);
  const double root = std::hypot(0.5 * (x - y), xy);
  return std::sqrt((0.5 * (x + y) + root) / (0.5 * (x + y) - root));
}

/// True if some light larger than a hot pixel stands out of the patch.
bool has_light(const SpotPatch& patch, double least_peak) {
  const cv::Mat smooth = smoothed(patch.counts, 1);
  std::vector<double> values(smooth.begin<double>(), smooth.end<double>());
  const double middle = calibration::upper_median_of(values);
  const double peak = *std::max_element(values.begin(), values.end());
  const double half_peak = 0.5 * (peak + middle);
  const auto bright =
      std::ranges::count_if(values, [half_peak](double value) { return value > half_peak; });
  return peak - middle > least_peak && bright > 9;
}

}  // namespace

void SpotFinder::check(const Picture& frame) {
  if (frame.empty()) throw std::invalid_argument("spot finder: the frame is empty");
  if (size_.empty()) size_ = frame.size();
  if (frame.size() != size_) {
    throw std::invalid_argument("spot finder: the frame's size differs from the first frame's");
  }
}

SpotMeasurement SpotFinder::measure(const Picture& frame) {
  check(frame);
  lossy_film_ = repeated_wall_.look(frame);
  const SpotMeasurement measurement = measure_in(colour_.seen(frame));
  look_at_colour(frame);
  return measurement;
}

/// In the gray of that picture.
SpotMeasurement SpotFinder::measure_in(const Picture& frame) {
  note_light(frame);
  const SpotMeasurement measurement = followed_ ? follow(frame) : search(frame, std::nullopt);
  // Light of unknown whereabouts must not become part of the wall.
  const bool unknown_light = measurement.state == SpotState::kBlocked && !followed_;
  if (!unknown_light && black_frames_ == 0) wall_.learn(frame, spot_zone(), ghost_zone());
  return measurement;
}

void SpotFinder::camera_moved() {
  wall_.forget();
  fixed_.clear();  // where they are now is not known
  ghost_.forget();
  rival_.reset();
  if (followed_ && !followed_->has_moved) followed_.reset();
}

SpotMeasurement SpotFinder::follow(const Picture& frame) {
  const std::optional<Judged> near = look_near(frame);
  if (!near || near->verdict != Verdict::kSpot) return search(frame, near);
  if (width_.doubts(near->fit.shape)) {
    // It is the spot, or else it would not be where it should be, but with something on it.
    width_.note_doubtful(near->fit);
    move_to(near->fit);
    return {SpotState::kBlocked, measured(followed_->fit).position};
  }
  accept(near->fit);
  note_drag(frame);
  note_wall_doubt(frame);
  look_for_rival(frame);  // may change what is followed
  look_for_ghost(frame);
  return measured(followed_->fit);
}

/// The light that was found elsewhere is the spot from now on.
void SpotFinder::switch_to(const SpotFit& fit) {
  wall_.forget();
  wall_doubt_ = {};  // it was told of another place
  width_.forget();
  followed_.reset();
  accept(fit);
  followed_->has_moved = true;
  rival_.reset();
}

void SpotFinder::note_drag(const Picture& frame) {
  if (lossy_film_) {
    drag_.look(frame, followed_->fit, followed_->speed_px(), kSaturation);
  } else {
    drag_ = {};
  }
}

/// What lossy film leaves of a spot, and drags behind it, would pass for a slant or a halo.
void SpotFinder::keep_form(SpotFitStart& start) const {
  if (lossy_film_) start = upright(start);
}

/// First exactly where the spot should be, then at the brightest place around it.
std::optional<SpotFinder::Judged> SpotFinder::look_near(const Picture& frame) const {
  const SpotShape& last = followed_->fit.shape;
  const double coasting = followed_->misses < kCoastingFrames ? followed_->misses + 1 : 0;
  SpotFitStart start = start_at(followed_->fit);
  start.x_px += coasting * followed_->speed_x_px;
  start.y_px += coasting * followed_->speed_y_px;
  start.form_is_known = followed_->age >= kYoung && followed_->age % kFormEvery != 0;
  keep_form(start);
  const Judged expected = look_at(frame, start, Learned::kUsed);
  if (expected.verdict == Verdict::kSpot) return expected;

  const double half_px = 6.0 * larger_sigma(last) + 3.0 * followed_->speed_px() + 12.0;
  const cv::Rect area =
      square_around(start.x_px, start.y_px, static_cast<int>(std::min(half_px, 400.0)), size_);
  if (area.empty()) return std::nullopt;
  SpotPatch patch = cut_patch(frame, area, kSaturation);
  wall_.prepare(patch);
  cv::Point brightest;
  const int smoothing_px = std::max(1, static_cast<int>(std::lround(0.75 * width_of(last))));
  cv::minMaxLoc(smoothed(patch.counts, smoothing_px), nullptr, nullptr, nullptr, &brightest);
  start.x_px = brightest.x + area.x;
  start.y_px = brightest.y + area.y;
  start.noise.reset();
  const Judged around = look_at(frame, start, Learned::kUsed);
  return around.verdict >= expected.verdict ? around : expected;
}

SpotMeasurement SpotFinder::search(const Picture& frame, const std::optional<Judged>& seen) {
  const FrameSearch found = search_frame(frame, wall_, {});
  bool cut = false;
  for (const SpotCandidate& candidate : found.candidates) {
    const Judged judged = look_at_candidate(frame, candidate, Learned::kUsed);
    // Better to miss the spot for some frames than to take its ghost or a speck for it.
    const bool faint = followed_ && followed_->misses < kFaintMisses &&
                       judged.fit.shape.peak < kFaintShare * followed_->fit.shape.peak;
    if (judged.verdict == Verdict::kSpot && !faint) {
      accept(judged.fit);
      drag_ = {};
      note_wall_doubt(frame);
      look_for_rival(frame);
      return measured(followed_->fit);
    }
    const double reach_px = 2.0 * kEdge_sigmas * width_of(judged.fit.shape);
    const bool at_edge = candidate.x_px < reach_px || candidate.y_px < reach_px ||
                         candidate.x_px > size_.width - 1 - reach_px ||
                         candidate.y_px > size_.height - 1 - reach_px;
    cut = cut || (judged.verdict == Verdict::kWrongShape && at_edge);
  }
  if (followed_) ++followed_->misses;
  if (seen && seen->verdict == Verdict::kWrongShape) {
    const SpotFit& fit = seen->fit;
    width_.note_no_spot(fit.converged && fit.misfit <= kMostMisfit && !width_.admits(fit.shape));
    SpotMeasurement blocked{SpotState::kBlocked, std::nullopt};
    if (fit.converged) blocked.position = measured(fit).position;
    return blocked;
  }
  if (cut) return {SpotState::kBlocked, std::nullopt};
  return {found.mean_luma < kDarkLuma ? SpotState::kDark : SpotState::kLost, std::nullopt};
}

SpotFinder::Judged SpotFinder::look_at(const Picture& frame,
                                       const SpotFitStart& start,
                                       Learned learned) const {
  const int half_px = patch_half_px(larger_sigma(start));
  const cv::Rect area = square_around(start.x_px, start.y_px, half_px, size_);
  if (area.empty()) return {};
  SpotPatch patch = cut_patch(frame, area, kSaturation);
  if (learned == Learned::kUsed) {
    wall_.prepare(patch);
    fixed_.take_away(patch, wall_);
  }
  Judged judged;
  judged.fit = learned == Learned::kUsed ? fit_beside_ghost(patch, start) : fit_spot(patch, start);
  judged.verdict = judge(patch, judged.fit, learned);
  if (learned == Learned::kIgnored || judged.verdict != Verdict::kSpot) return judged;
  // What is left of a fixed light is not the spot come back; the spot itself may cross it.
  const bool came_back = !followed_ || followed_->misses > 0;
  if ((came_back && fixed_.holds(judged.fit.shape, wall_)) || is_ghostly(judged.fit)) {
    judged.verdict = Verdict::kWrongShape;
  }
  return judged;
}

/// Nothing is known of a candidate's width: it is guessed, then the patch is cut to measure.
SpotFinder::Judged SpotFinder::look_at_candidate(const Picture& frame,
                                                 const SpotCandidate& candidate,
                                                 Learned learned) const {
  const cv::Rect area = square_around(candidate.x_px, candidate.y_px, kRoughPatch_px, size_);
  SpotPatch patch = cut_patch(frame, area, kSaturation);
  if (learned == Learned::kUsed) wall_.prepare(patch);
  const double rough_px = rough_width_px(patch, candidate.x_px, candidate.y_px);
  SpotFitStart start{.x_px = candidate.x_px,
                     .y_px = candidate.y_px,
                     .sigma_x_px = rough_px,
                     .sigma_y_px = rough_px};
  keep_form(start);
  if (rough_px <= 0.0) return {};
  Judged judged = look_at(frame, start, learned);
  for (int round = 0; round < 3 && judged.fit.converged; ++round) {
    const SpotShape& shape = judged.fit.shape;
    const int needed_px = patch_half_px(larger_sigma(shape));
    const int had_px = patch_half_px(larger_sigma(start));
    const bool off_centre = std::max(std::abs(shape.x_px - start.x_px),
                                     std::abs(shape.y_px - start.y_px)) > 0.5 * shape.sigma_x_px;
    if (!off_centre && std::abs(needed_px - had_px) <= needed_px / 5) break;
    start = start_at(judged.fit);
    start.noise.reset();
    keep_form(start);
    if (larger_sigma(shape) > kMostWidth_px) break;
    judged = look_at(frame, start, learned);
  }
  return judged;
}

SpotFinder::Verdict SpotFinder::judge(const SpotPatch& patch,
                                      const SpotFit& fit,
                                      Learned learned) const {
  const auto light_or_none = [&] {
    return has_light(patch, kLeastPeak) ? Verdict::kWrongShape : Verdict::kNoLight;
  };
  if (!fit.converged) return light_or_none();
  const SpotShape& shape = fit.shape;
  const double width_px = width_of(shape);
  // Signal to noise of the whole spot in white noise: peak sigma sqrt(pi) / noise.
  const double hidden = lossy_film_ ? kLossyNoise : 0.0;
  const double noise = std::max({fit.wall_scatter, std::sqrt(fit.noise.background), hidden});
  const double significance = shape.peak * width_px * std::sqrt(std::numbers::pi) / noise;
  const double least = width_.has_seen_any() ? kLeastSignificance : kFirstSignificance;
  if (shape.peak < kLeastPeak || significance < least) return Verdict::kNoLight;
  if (width_px < kLeastWidth_px) return Verdict::kNoLight;
  const bool width_known = learned == Learned::kUsed && width_.is_known();
  if (width_known && width_px > kFarTooWide * width_.width_px()) return Verdict::kNoLight;

  const double reach = kEdge_sigmas * spread_by_slant(shape);
  const double margin_x_px = reach * (width_known ? width_.sigma_x_px() : shape.sigma_x_px);
  const double margin_y_px = reach * (width_known ? width_.sigma_y_px() : shape.sigma_y_px);
  const bool cut = shape.x_px < margin_x_px || shape.y_px < margin_y_px ||
                   shape.x_px > size_.width - 1 - margin_x_px ||
                   shape.y_px > size_.height - 1 - margin_y_px;
  const bool outside = shape.x_px < patch.left_px || shape.y_px < patch.top_px ||
                       shape.x_px > static_cast<double>(patch.left_px + patch.columns() - 1) ||
                       shape.y_px > static_cast<double>(patch.top_px + patch.rows() - 1);
  if (cut || outside || aspect_of(shape) > kLongestAspect || width_px > kMostWidth_px ||
      fit.misfit > kMostMisfit || (width_known && !width_.admits(shape))) {
    return Verdict::kWrongShape;
  }
  return Verdict::kSpot;
}

void SpotFinder::accept(const SpotFit& fit) {
  move_to(fit);
  width_.learn(fit);
}

void SpotFinder::move_to(const SpotFit& fit) {
  Followed next;
  next.fit = fit;
  next.origin_x_px = fit.shape.x_px;
  next.origin_y_px = fit.shape.y_px;
  if (followed_) {
    const double step_x_px = fit.shape.x_px - followed_->fit.shape.x_px;
    const double step_y_px = fit.shape.y_px - followed_->fit.shape.y_px;
    const int frames = followed_->misses + 1;
    const double reach_px = frames * (6.0 * larger_sigma(fit.shape) + 30.0);
    if (std::hypot(step_x_px, step_y_px) < reach_px) {
      next = *followed_;
      next.fit = fit;
      next.speed_x_px = step_x_px / frames;
      next.speed_y_px = step_y_px / frames;
      const auto follow = [](double& mean, double change) {
        mean += (change - mean) / kAccelerationMemory;
      };
      if (frames == 1 && followed_->age > 0) {  // two speeds of neighbouring frames
        follow(next.acceleration_x_px, next.speed_x_px - followed_->speed_x_px);
        follow(next.acceleration_y_px, next.speed_y_px - followed_->speed_y_px);
      }
      next.misses = 0;
      next.age += frames;
    }
  }
  const double travel_px =
      std::hypot(fit.shape.x_px - next.origin_x_px, fit.shape.y_px - next.origin_y_px);
  if (travel_px > kMovedSigmas * width_of(fit.shape)) {
    next.has_moved = true;
    next.still = 0;
    next.origin_x_px = fit.shape.x_px;
    next.origin_y_px = fit.shape.y_px;
  } else if (next.has_moved && ++next.still > kStillFrames) {
    next.has_moved = false;
  }
  followed_ = next;
}

void SpotFinder::look_for_rival(const Picture& frame) {
  if (followed_->has_moved) {
    rival_.reset();
    return;
  }
  const int every = followed_->age < kYoung ? kRivalEvery : 8 * kRivalEvery;
  if (followed_->age % every != 0) return;
  for (const SpotCandidate& candidate : search_frame(frame, wall_, spot_zone()).candidates) {
    if (candidate.score < kRivalShare * followed_->fit.shape.peak) continue;
    // The wall may have learned the rival's own light, and the width may be the reflection's.
    const Judged judged = look_at_candidate(frame, candidate, Learned::kIgnored);
    if (judged.verdict != Verdict::kSpot) continue;
    const SpotShape& shape = judged.fit.shape;
    if (rival_ && shape.peak * kSameRival < rival_->peak) continue;  // a weaker one: its ghost
    if (!rival_ || shape.peak > kSameRival * rival_->peak) {
      rival_ = Rival{shape.x_px, shape.y_px, shape.peak, 0, 0};
    }
    ++rival_->sightings;
    rival_->misses = 0;
    const double travel_px =
        std::hypot(shape.x_px - rival_->origin_x_px, shape.y_px - rival_->origin_y_px);
    if (rival_->sightings < kRivalSightings || travel_px < kMovedSigmas * width_of(shape)) return;
    // What was followed stands still: a reflection.
    fixed_.remember(followed_->fit.shape);
    switch_to(judged.fit);
    return;
  }
  if (rival_ && ++rival_->misses >= kRivalMisses) rival_.reset();
}

SpotMeasurement SpotFinder::measured(const SpotFit& fit) const {
  const SpotShape& shape = fit.shape;
  const bool undecided =
      (rival_ && followed_->age < kYoung) || (brighter_frames_ > 0 && followed_->age < kUndecided);
  const SpotState measured_state =
      fit.core_clipped > kCoreClipped ? SpotState::kClipped : SpotState::kFound;
  const SpotState state = undecided ? SpotState::kBlocked : measured_state;
  double widening = 1.0;
  cv::Point2d held_back_px(drag_.lag_px(), drag_.lag_px());
  if (lossy_film_) {
    const double speed_px = followed_->speed_px();
    widening = FilmDrag::widening(speed_px);
    held_back_px.x += FilmDrag::turn_doubt_px(followed_->acceleration_x_px, speed_px);
    held_back_px.y += FilmDrag::turn_doubt_px(followed_->acceleration_y_px, speed_px);
  }
  return {state,
          SpotPosition{shape.x_px - colour_.shift_x_px(),
                       shape.y_px - colour_.shift_y_px(),
                       std::hypot(widening * fit.u_x_px, wall_doubt_.x_px, held_back_px.x),
                       std::hypot(widening * fit.u_y_px, wall_doubt_.y_px, held_back_px.y),
                       shape.peak,
                       width_of(shape)}};
}

}  // namespace nightswing::tracker
