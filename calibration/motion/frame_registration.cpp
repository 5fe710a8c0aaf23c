#include "calibration/motion/frame_registration.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <utility>

#include <opencv2/imgproc.hpp>

#include "calibration/map/median.h"

namespace nightswing::calibration {
namespace {

constexpr int kColumns = 16;  // of the grid of which each cell gives one patch at most
constexpr int kRows = 9;
constexpr double kMostPatchU_px = 0.05;  // by noise alone; noise itself looks like 0.08
constexpr double kLeastNoise = 1.0;      // counts; the mean of several pictures hides what one has
constexpr int kFewestPatches = 8;        // 16 coordinates for six parameters
constexpr double kLeastShare = 0.25;     // of all patches; fewer may be ticks taken for others
constexpr double kSureShare = 0.5;       // of all patches; more need no second opinion
constexpr double kLeastAgreement = 0.6;  // of the patches found
constexpr double kMostScatter_px = 0.5;
constexpr double kMostTurn = 5e-4;  // 0.004 px at the rim of a patch
constexpr std::size_t kGlances = 12;

bool is_picture(const cv::Mat& picture) {
  return !picture.empty() && (picture.type() == CV_8UC1 || picture.type() == CV_8UC3);
}

bool hits(std::span<const IgnoredCircle> circles, PixelPoint place, double margin_px) {
  return std::ranges::any_of(circles, [&](const IgnoredCircle& circle) {
    return std::hypot(place.x_px - circle.centre.x_px, place.y_px - circle.centre.y_px) <
           circle.radius_px + margin_px;
  });
}

/// Standard deviation of the noise, from what is left of each pixel when its surroundings are taken
/// away (mask of J. Immerkaer, Computer Vision and Image Understanding 64 (1996) 300; the median
/// instead of the mean, so that edges do not count).
double noise_of(const cv::Mat& luma) {
  const cv::Mat mask = (cv::Mat_<float>(3, 3) << 1, -2, 1, -2, 4, -2, 1, -2, 1);
  cv::Mat rest;
  cv::filter2D(luma, rest, CV_32F, mask);
  std::vector<float> sizes(rest.begin<float>(), rest.end<float>());
  for (float& size : sizes) size = std::abs(size);
  return scatter_of(std::move(sizes)) / 6.0;
}

/// Where `ignored` or the border leaves no room for a patch: 0, elsewhere 255.
cv::Mat usable_places(cv::Size size, std::span<const IgnoredCircle> ignored) {
  cv::Mat usable = cv::Mat::zeros(size, CV_8UC1);
  const int margin_px = TexturePatch::kMargin_px;
  const cv::Rect inside(
      margin_px, margin_px, size.width - 2 * margin_px, size.height - 2 * margin_px);
  if (inside.width <= 0 || inside.height <= 0) return usable;
  usable(inside).setTo(255);
  for (const IgnoredCircle& circle : ignored) {
    cv::circle(usable,
               {cvRound(circle.centre.x_px), cvRound(circle.centre.y_px)},
               cvCeil(circle.radius_px + std::numbers::sqrt2 * TexturePatch::kHalf_px),
               0,
               cv::FILLED);
  }
  return usable;
}

std::vector<TexturePatch> choose_patches(const cv::Mat& reference, const cv::Mat& usable) {
  cv::Mat luma = reference;
  if (reference.channels() == 3) cv::cvtColor(reference, luma, cv::COLOR_BGR2GRAY);
  const double most_u = kMostPatchU_px / std::max(noise_of(luma), kLeastNoise);
  cv::Mat strength;
  cv::cornerMinEigenVal(luma, strength, TexturePatch::kSide_px, 3);
  std::vector<TexturePatch> patches;
  for (int row = 0; row < kRows; ++row) {
    for (int column = 0; column < kColumns; ++column) {
      const cv::Point from(column * luma.cols / kColumns, row * luma.rows / kRows);
      const cv::Point to((column + 1) * luma.cols / kColumns, (row + 1) * luma.rows / kRows);
      const cv::Rect cell(from, to);
      double best = 0.0;
      cv::Point at(-1, -1);
      if (cell.empty()) continue;
      cv::minMaxLoc(strength(cell), nullptr, &best, nullptr, &at, usable(cell));
      if (at.x < 0) continue;
      const TexturePatch patch(reference, from + at);
      if (patch.u_px_per_count() < most_u) patches.push_back(patch);
    }
  }
  std::ranges::stable_sort(patches, {}, &TexturePatch::u_px_per_count);
  return patches;
}

}  // namespace

FrameRegistration::FrameRegistration(const cv::Mat& reference,
                                     std::span<const IgnoredCircle> ignored)
    : reference_(reference.clone()),
      frame_{.width_px = reference.cols, .height_px = reference.rows} {
  if (!is_picture(reference)) {
    throw std::invalid_argument("frame registration: the reference must be 8-bit gray or BGR");
  }
  const cv::Mat usable = usable_places(reference.size(), ignored);
  patches_ = choose_patches(reference, usable);
  cv::Mat moving = cv::Mat::zeros(reference.size(), CV_8UC1);
  for (const IgnoredCircle& circle : ignored) {
    cv::circle(moving,
               {cvRound(circle.centre.x_px), cvRound(circle.centre.y_px)},
               cvCeil(circle.radius_px),
               255,
               cv::FILLED);
  }
  coarse_.emplace(reference, moving);
}

void FrameRegistration::check(const cv::Mat& picture) const {
  if (picture.cols != frame_.width_px || picture.rows != frame_.height_px ||
      picture.type() != reference_.type()) {
    throw std::invalid_argument("frame registration: the picture is not like the reference");
  }
}

Registration FrameRegistration::find_near(const cv::Mat& picture,
                                          std::span<const IgnoredCircle> ignored,
                                          const CameraMotion& expected) const {
  const PixelPoint centre = picture_centre(frame_);
  std::vector<PlacePair> found;
  for (const TexturePatch& patch : patches_) {
    const PixelPoint place = moved_from_reference(expected, centre, patch.centre());
    if (hits(ignored, place, std::numbers::sqrt2 * TexturePatch::kHalf_px)) continue;
    if (const auto match = patch.find(picture, place)) {
      found.push_back({patch.centre(), match->place});
    }
  }
  Registration registration;
  const double fewest =
      std::max<double>(kFewestPatches, kLeastShare * static_cast<double>(patches_.size()));
  if (static_cast<double>(found.size()) < fewest) return registration;
  const MotionFit fit = fit_motion(found, frame_, expected);
  registration.motion = fit.motion;
  registration.covariance = fit.covariance;
  registration.u_shift_px = std::sqrt(std::max(fit.covariance(0, 0), fit.covariance(1, 1)));
  registration.patches = fit.agreeing;
  const bool agreed = fit.agreeing >= fewest &&
                      fit.agreeing >= kLeastAgreement * static_cast<double>(found.size()) &&
                      fit.scatter_px < kMostScatter_px;
  registration.status =
      agreed ? RegistrationStatus::kRegistered : RegistrationStatus::kInconsistent;
  return registration;
}

/// From where it is expected, or, if it is not there or hardly, from a coarse search.
Registration FrameRegistration::find_from(const cv::Mat& picture,
                                          std::span<const IgnoredCircle> ignored,
                                          const CameraMotion& expected) const {
  Registration near = find_near(picture, ignored, expected);
  const bool is_near = near.status == RegistrationStatus::kRegistered;
  if (is_near && near.patches > kSureShare * static_cast<double>(patches_.size())) return near;
  const auto rough = coarse_->find(picture);
  if (!rough) return near;
  const Registration first = find_near(picture, ignored, *rough);
  if (first.status != RegistrationStatus::kRegistered) return near;
  // From the better place also those patches are found that were out of reach from the rough one.
  const Registration second = find_near(picture, ignored, first.motion);
  const Registration& far = second.status == RegistrationStatus::kRegistered ? second : first;
  return is_near && near.patches >= far.patches ? near : far;
}

Registration FrameRegistration::find(const cv::Mat& picture,
                                     std::span<const IgnoredCircle> ignored,
                                     const CameraMotion& expected) {
  check(picture);
  if (patches_.size() < kFewestPatches) return {};
  Registration found = find_from(picture, ignored, expected);
  if (found.status != RegistrationStatus::kRegistered || !is_turned(found.motion)) return found;
  turn_patches(found.motion);
  const Registration better = find_near(picture, ignored, found.motion);
  return better.status == RegistrationStatus::kRegistered ? better : found;
}

bool FrameRegistration::is_turned(const CameraMotion& motion) const {
  return std::hypot(motion.rotation_rad - cut_for_.rotation_rad, motion.zoom - cut_for_.zoom) >
         kMostTurn;
}

void FrameRegistration::turn_patches(const CameraMotion& motion) {
  const PixelPoint centre = picture_centre(frame_);
  for (TexturePatch& patch : patches_) {
    const PixelPoint place = patch.centre();
    patch = TexturePatch(reference_,
                         {static_cast<int>(place.x_px), static_cast<int>(place.y_px)},
                         local_turn(motion, centre, place));
  }
  cut_for_ = motion;
}

std::vector<std::optional<FrameRegistration::Glance>> FrameRegistration::glance(
    const cv::Mat& picture,
    std::span<const IgnoredCircle> ignored,
    const CameraMotion& expected) const {
  check(picture);
  const PixelPoint centre = picture_centre(frame_);
  std::vector<std::optional<Glance>> glances;
  for (const TexturePatch& patch : patches_) {
    if (glances.size() == kGlances) break;
    glances.emplace_back();
    const PixelPoint place = moved_from_reference(expected, centre, patch.centre());
    if (hits(ignored, place, std::numbers::sqrt2 * TexturePatch::kHalf_px)) continue;
    if (const auto match = patch.glance(picture, place)) {
      glances.back() = Glance{match->place.x_px - place.x_px, match->place.y_px - place.y_px};
    }
  }
  return glances;
}

}  // namespace nightswing::calibration
