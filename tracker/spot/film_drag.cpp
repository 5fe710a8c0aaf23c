#include "tracker/spot/film_drag.h"

#include <algorithm>
#include <cmath>

namespace nightswing::tracker {
namespace {

constexpr double kFastWidening = 1.2;
constexpr double kCreepWidening = 1.8;
constexpr double kCreep_px = 0.3;    // a frame: half-way between
constexpr double kTurnDoubt = 0.3;   // of the acceleration; empirical, as the widening is
constexpr double kTurning_px = 1.0;  // a frame: at that speed half of it
constexpr double kNoTravel = 2.0;    // uncertainties
constexpr double kStaleReach_sigmas = 2.0;
constexpr double kStaleShare = 0.4;  // of the spot's pixels

}  // namespace

/// Share of the spot's pixels that are exactly as they were in the frame before.
double FilmDrag::stale_share(const cv::Mat& luma,
                             const cv::Rect& area,
                             const SpotShape& shape,
                             int saturation) const {
  const cv::Rect both = area & area_;
  int pixels = 0;
  int same = 0;
  for (int y = both.y; y < both.y + both.height; ++y) {
    const auto* now = luma.ptr<std::uint8_t>(y - area.y);
    const auto* last = luma_.ptr<std::uint8_t>(y - area_.y);
    const double v = (y - shape.y_px) / shape.sigma_y_px;
    for (int x = both.x; x < both.x + both.width; ++x) {
      const double u = (x - shape.x_px) / shape.sigma_x_px;
      if (u * u + v * v > kStaleReach_sigmas * kStaleReach_sigmas) continue;
      if (now[x - area.x] >= saturation) continue;
      ++pixels;
      if (now[x - area.x] == last[x - area_.x]) ++same;
    }
  }
  return pixels > 0 ? static_cast<double>(same) / pixels : 0.0;
}

void FilmDrag::look(const Picture& frame, const SpotFit& fit, double speed_px, int saturation) {
  const SpotShape& shape = fit.shape;
  const int half_px = static_cast<int>(std::ceil(kStaleReach_sigmas * larger_sigma(shape))) + 1;
  const cv::Rect area = square_around(shape.x_px, shape.y_px, half_px, frame.size());
  const cv::Mat luma = frame.gray(area);
  const double stale = stale_share(luma, area, shape, saturation);
  ++frames_;
  // Less what may be no travel.
  const double travel_px = std::hypot(shape.x_px - fresh_x_px_, shape.y_px - fresh_y_px_) -
                           kNoTravel * widening(speed_px) * std::hypot(fit.u_x_px, fit.u_y_px);
  if (stale > kStaleShare) {
    // That of a creeping spot is in the widening.
    lag_px_ = fresh_speed_px_ > kCreep_px ? stale * frames_ * fresh_speed_px_ : 0.0;
  } else {
    lag_px_ = 0.0;
    fresh_speed_px_ = luma_.empty() ? 0.0 : std::max(travel_px, 0.0) / frames_;
    fresh_x_px_ = shape.x_px;
    fresh_y_px_ = shape.y_px;
    frames_ = 0;
  }
  luma_ = luma.clone();
  area_ = area;
}

/// Coding takes as much of a displacement for noise in a fast spot as in a creeping one, which it
/// displaces alike for long.
double FilmDrag::widening(double speed_px) {
  return kFastWidening + (kCreepWidening - kFastWidening) / (1.0 + speed_px / kCreep_px);
}

/// Pictures between two others are foretold along a straight line, and what is left to be coded of
/// a small error is left out. A faster spot changes so much that it is coded.
double FilmDrag::turn_doubt_px(double acceleration_px, double speed_px) {
  const double turns = speed_px / kTurning_px;
  return kTurnDoubt / (1.0 + turns * turns) * std::abs(acceleration_px);
}

}  // namespace nightswing::tracker
