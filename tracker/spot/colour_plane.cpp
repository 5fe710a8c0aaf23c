#include "tracker/spot/colour_plane.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

namespace nightswing::tracker {
namespace {

constexpr int kWhole = 256;
// Of 32 frames and two coordinates a mean square is known to a sixth (one standard deviation).
constexpr double kLumasNoise = 1.5;

/// The spot's light in one gray.
double peak_in(const Picture& frame, const cv::Rect& area, const SpotFit& fit, int saturation) {
  return lit_shape(cut_patch(frame, area, saturation), start_at(fit)).peak;
}

}  // namespace

void ColourPlane::Moments::add(double value, int count) {
  mean += (value - mean) / count;
  square += (value * value - square) / count;
}

void ColourPlane::note_light(const Picture& frame,
                             const cv::Rect& area,
                             const SpotFit& fit,
                             int saturation) {
  blue_ += peak_in(frame.in_gray_of({kWhole, 0, 0}), area, fit, saturation);
  green_ += peak_in(frame.in_gray_of({0, kWhole, 0}), area, fit, saturation);
  red_ += peak_in(frame.in_gray_of({0, 0, kWhole}), area, fit, saturation);
}

GrayShares ColourPlane::matched() const {
  const double all = blue_ + green_ + red_;
  const auto red = static_cast<int>(std::lround(kWhole * red_ / all));
  const auto blue = std::min(static_cast<int>(std::lround(kWhole * blue_ / all)), kWhole - red);
  return {static_cast<std::uint16_t>(blue),
          static_cast<std::uint16_t>(kWhole - blue - red),
          static_cast<std::uint16_t>(red)};
}

std::optional<SpotFit> ColourPlane::compare(const Picture& frame,
                                            const SpotFit& fit,
                                            int saturation) {
  if (is_decided() || !frame.has_colour()) return std::nullopt;
  const SpotShape& spot = fit.shape;
  const cv::Rect area =
      square_around(spot.x_px, spot.y_px, patch_half_px(larger_sigma(spot)), frame.size());
  note_light(frame, area, fit, saturation);
  SpotFitStart start = start_at(fit);
  start.noise.reset();
  start.form_is_known = true;
  // Both without what has been learned of the wall, which is luma's.
  const SpotFit luma = fit_spot(cut_patch(frame, area, saturation), start);
  const SpotFit sum = fit_spot(cut_patch(frame.in_gray_of(matched()), area, saturation), start);
  ++frames_;
  if (!luma.converged || !sum.converged) {
    sum_variance_ = std::numeric_limits<double>::infinity();
    return std::nullopt;
  }
  difference_x_px_.add(sum.shape.x_px - luma.shape.x_px, frames_);
  difference_y_px_.add(sum.shape.y_px - luma.shape.y_px, frames_);
  luma_variance_ += luma.u_x_px * luma.u_x_px + luma.u_y_px * luma.u_y_px;
  sum_variance_ += sum.u_x_px * sum.u_x_px + sum.u_y_px * sum.u_y_px;
  const double apart = difference_x_px_.variance() + difference_y_px_.variance();
  if (!is_decided() || kLeastGain * kLeastGain * sum_variance_ > luma_variance_ ||
      apart > kLumasNoise * luma_variance_ / kFrames) {
    return std::nullopt;
  }
  chosen_ = matched();
  shift_x_px_ = difference_x_px_.mean;
  shift_y_px_ = difference_y_px_.mean;
  return sum;
}

Picture ColourPlane::seen(const Picture& frame) const {
  return chosen_ ? frame.in_gray_of(*chosen_) : frame;
}

}  // namespace nightswing::tracker
