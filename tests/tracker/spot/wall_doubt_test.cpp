// What the grain of an unknown wall may do to a spot's place, told from the wall around it.

#include "tracker/spot/wall_doubt.h"

#include <cmath>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/support/near.h"
#include "tests/support/synthetic_spot.h"

using namespace nightswing;
using test::within_rel;

namespace {

const cv::Size kWallSize(420, 220);
const cv::Rect kHere(190, 90, 37, 37);

/// Even grain some pixels wide, of 4 counts.
cv::Mat grain(std::uint64_t seed) {
  cv::RNG random(seed);
  cv::Mat wall(kWallSize, CV_64FC1);
  random.fill(wall, cv::RNG::NORMAL, 0.0, 4.0 * 2.0 * std::sqrt(3.14159) * 1.5);
  cv::GaussianBlur(wall, wall, {0, 0}, 1.5);
  return wall + 80.0;
}

cv::Mat picture_of(const cv::Mat& light) {
  cv::Mat counts;
  light.convertTo(counts, CV_8U);
  return counts;
}

/// The wall is known but for `hidden`.
tracker::WallLight learned(const cv::Mat& wall, const cv::Rect& hidden) {
  tracker::WallLight light;
  for (int k = 0; k < tracker::WallLight::kTrustedLooks; ++k) light.learn(picture_of(wall), hidden);
  return light;
}

}  // namespace

TEST_SUITE("wall_doubt") {
  TEST_CASE("the doubt is as large as the errors that the grain of the wall makes") {
    double errors = 0;
    double doubts = 0;
    constexpr int kWalls = 60;
    for (int k = 0; k < kWalls; ++k) {
      const cv::Mat wall = grain(static_cast<std::uint64_t>(k) + 1);
      const tracker::WallLight light = learned(wall, kHere);
      const cv::Mat spot = test::spot_light(kWallSize, {100, 208.3, 108.2, 4, 4});
      const auto patch = tracker::cut_patch(picture_of(wall + spot), kHere, 250);
      const auto fit = tracker::fit_spot(patch, {208, 108, 4, 4, {}});
      REQUIRE(fit.converged);
      const auto doubt = tracker::doubt_of_wall(patch, fit, light);
      REQUIRE(doubt);
      errors += std::pow(fit.shape.x_px - 208.3, 2) + std::pow(fit.shape.y_px - 108.2, 2);
      doubts += std::pow(doubt->x_px, 2) + std::pow(doubt->y_px, 2);
    }
    // 120 errors: their root mean square is known to 7 %; medians of eight scatter by 40 % each,
    // which makes their mean square larger by as much as its square. Three times that.
    CHECK(std::sqrt(doubts / errors) == within_rel(1.08, 0.25));
  }

  TEST_CASE("a wall that is known makes no doubt, and of one that is known nowhere none is told") {
    const cv::Mat wall = grain(7);
    const cv::Mat spot = test::spot_light(kWallSize, {100, 208.3, 108.2, 4, 4});
    const auto patch = tracker::cut_patch(picture_of(wall + spot), kHere, 250);
    const auto fit = tracker::fit_spot(patch, {208, 108, 4, 4, {}});
    const auto doubt_on = [&](const tracker::WallLight& light) {
      return tracker::doubt_of_wall(patch, fit, light);
    };
    REQUIRE(doubt_on(learned(wall, {})));
    CHECK(doubt_on(learned(wall, {}))->x_px == 0.0);
    CHECK_FALSE(doubt_on(learned(wall, {0, 0, 420, 220})));
    CHECK_FALSE(doubt_on(tracker::WallLight()));
    REQUIRE(doubt_on(learned(wall, kHere)));
    CHECK(doubt_on(learned(wall, kHere))->x_px > 0.01);
    const auto grain_alone = tracker::doubt_of_grain(patch, fit, learned(wall, {}));
    REQUIRE(grain_alone);
    CHECK(grain_alone->x_px == doubt_on(learned(wall, kHere))->x_px);  // all of it is unknown
  }
}
