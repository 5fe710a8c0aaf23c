#pragma once

#include <cmath>
#include <span>
#include <stdexcept>
#include <string>
#include <utility>

#include "calibration/map/wall_map.h"

/// How the fits of all kinds of maps judge and refuse what they are given.
namespace nightswing::calibration {

/// What differs by so many standard uncertainties does so for sure.
inline constexpr double kSure = 3.0;
/// Residuals three times the stated ones deserve a word.
inline constexpr double kWorstReducedChi2 = 9.0;

/// message  one sentence that says what to do.
[[nodiscard]] inline MapFit refusal(MapStatus status, std::string message) {
  return {.status = status, .message = std::move(message), .map = {}};
}

/// Tick  a place on a ruler: pixel, x_mm and u_px.
/// throws std::invalid_argument if a number is not finite or a u_px is not positive.
template <typename Tick>
void check_ticks(std::span<const Tick> ticks) {
  for (const Tick& tick : ticks) {
    if (!std::isfinite(tick.pixel.x_px) || !std::isfinite(tick.pixel.y_px) ||
        !std::isfinite(tick.x_mm) || !std::isfinite(tick.u_px) || tick.u_px <= 0.0) {
      throw std::invalid_argument("a tick needs a finite place and number and a positive u_px");
    }
  }
}

}  // namespace nightswing::calibration
