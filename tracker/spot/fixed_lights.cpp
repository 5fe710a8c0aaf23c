#include "tracker/spot/fixed_lights.h"

#include <algorithm>
#include <cmath>

namespace nightswing::tracker {
namespace {

constexpr std::size_t kMostFixed = 8;
constexpr double kFixed_sigmas = 2.0;  // a light so near to a fixed one is that one
constexpr double kFixedReach_sigmas = 5.0;

}  // namespace

void FixedLights::remember(const SpotShape& shape) {
  std::erase_if(lights_, [&](const SpotShape& known) {
    return std::hypot(known.x_px - shape.x_px, known.y_px - shape.y_px) < width_of(shape);
  });
  if (lights_.size() == kMostFixed) lights_.erase(lights_.begin());
  lights_.push_back(shape);
}

void FixedLights::take_away(SpotPatch& patch, const WallLight& wall) const {
  for (const SpotShape& light : lights_) {
    const double reach_px = kFixedReach_sigmas * larger_sigma(light);
    const bool is_far =
        light.x_px < patch.left_px - reach_px || light.y_px < patch.top_px - reach_px ||
        light.x_px > static_cast<double>(patch.left_px + patch.columns()) + reach_px ||
        light.y_px > static_cast<double>(patch.top_px + patch.rows()) + reach_px;
    if (is_far) continue;
    const Eigen::ArrayXXd counts = SpotModel(patch, light).spot();
    for (Eigen::Index row = 0; row < patch.rows(); ++row) {
      const auto* looks =
          wall.looks().empty()
              ? nullptr
              : wall.looks().ptr<std::uint8_t>(patch.top_px + static_cast<int>(row));
      for (Eigen::Index column = 0; column < patch.columns(); ++column) {
        if (looks != nullptr && looks[patch.left_px + column] >= WallLight::kTrustedLooks) continue;
        patch.counts(column, row) -= counts(column, row);
      }
    }
  }
}

bool FixedLights::holds(const SpotShape& shape, const WallLight& wall) const {
  return std::ranges::any_of(lights_, [&](const SpotShape& light) {
    return std::hypot(light.x_px - shape.x_px, light.y_px - shape.y_px) <
               kFixed_sigmas * larger_sigma(light) &&
           !wall.is_known(light.x_px, light.y_px);
  });
}

}  // namespace nightswing::tracker
