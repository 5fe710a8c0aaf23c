#include "calibration/motion/motion_fit.h"

#include <cmath>
#include <random>
#include <vector>

#include <doctest/doctest.h>

#include "tests/calibration/usual_frame.h"
#include "tests/support/near.h"

using namespace nightswing::calibration;
using namespace nightswing::test;

namespace {

constexpr CameraMotion kTruth{3.4, -2.2, 0.004, 1.0008, -1.5e-6, 0.8e-6};

std::vector<PlacePair> places_of(const CameraMotion& motion, double noise_px, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::vector<PlacePair> places;
  for (int x = 40; x < 1280; x += 100) {
    for (int y = 40; y < 720; y += 100) {
      const PixelPoint reference{1.0 * x, 1.0 * y};
      PixelPoint now = moved_from_reference(motion, picture_centre(kFrame), reference);
      now.x_px += noise_px * normal(random);
      now.y_px += noise_px * normal(random);
      places.push_back({reference, now});
    }
  }
  return places;
}

void check_is_truth(const MotionFit& fit, double tolerance_px) {
  const PixelPoint centre = picture_centre(kFrame);
  for (const PixelPoint place : {centre, PixelPoint{200, 200}, PixelPoint{1100, 600}}) {
    const PixelPoint expected = moved_from_reference(kTruth, centre, place);
    const PixelPoint found = moved_from_reference(fit.motion, centre, place);
    CHECK(found.x_px == within_abs(expected.x_px, tolerance_px));
    CHECK(found.y_px == within_abs(expected.y_px, tolerance_px));
  }
}

}  // namespace

TEST_SUITE("motion_fit") {
  TEST_CASE("places without error give the motion back") {
    const MotionFit fit = fit_motion(places_of(kTruth, 0.0, 1), kFrame, {});
    // The prior pulls a keystone by (0.005 px / 4 px)^2 of its normal equation; 1e-4 px is beyond.
    check_is_truth(fit, 1e-4);
    CHECK(fit.agreeing == 91);
  }

  TEST_CASE("two places in five may be anywhere") {
    auto places = places_of(kTruth, 0.02, 2);
    std::mt19937_64 random(3);
    std::uniform_real_distribution<double> wild_px(-3.0, 3.0);
    for (std::size_t k = 0; k < places.size(); ++k) {
      if (k % 5 >= 2) continue;
      places[k].now.x_px += wild_px(random);
      places[k].now.y_px += wild_px(random);
    }
    // 55 good places of 0.02 px: 0.003 px in the middle, some three times that towards the corners
    check_is_truth(fit_motion(places, kFrame, {}), 0.03);
  }

  TEST_CASE("two places in five that all moved elsewhere do not win") {
    auto places = places_of(kTruth, 0.02, 4);
    for (std::size_t k = 0; k < places.size(); ++k) {
      if (k % 5 < 2) places[k].now.x_px += 2.4;  // as a tick taken for its neighbour
    }
    check_is_truth(fit_motion(places, kFrame, {}), 0.03);
  }

  TEST_CASE("the stated uncertainty is that of many repetitions") {
    const PixelPoint centre = picture_centre(kFrame);
    const PixelPoint place{300, 250};
    const PixelPoint expected = moved_from_reference(kTruth, centre, place);
    double squares = 0.0;
    constexpr int kNights = 200;
    for (int k = 0; k < kNights; ++k) {
      const MotionFit fit =
          fit_motion(places_of(kTruth, 0.03, 100 + static_cast<std::uint64_t>(k)), kFrame, {});
      const double u_px = motion_u_px(fit.covariance, centre, place);
      squares += std::pow(
          (moved_from_reference(fit.motion, centre, place).x_px - expected.x_px) / u_px, 2);
      CHECK(fit.scatter_px == within_rel(0.03, 0.3));  // 176 degrees of freedom: 5 % each
    }
    // The width of 200 pulls is known to 5 %; the worse coordinate is stated for both, and the
    // biweight counts a little less than all.
    CHECK(std::sqrt(squares / kNights) == within_abs(1.0, 0.2));
  }

  TEST_CASE("texture along one line only leaves the keystone alone and the line exact") {
    std::vector<PlacePair> places;
    const CameraMotion shift{.shift_x_px = 2.0, .shift_y_px = -1.0, .rotation_rad = 0.003};
    for (const PlacePair& place : places_of(shift, 0.02, 5)) {
      if (place.reference.y_px == 340.0) places.push_back(place);
    }
    REQUIRE(places.size() == 13);
    const MotionFit fit = fit_motion(places, kFrame, {});
    const PixelPoint centre = picture_centre(kFrame);
    const PixelPoint on_line{700, 340};
    const PixelPoint expected = moved_from_reference(shift, centre, on_line);
    CHECK(moved_from_reference(fit.motion, centre, on_line).x_px ==
          within_abs(expected.x_px, 0.03));  // 0.02 px / sqrt(13), three of these and a curve
    CHECK(moved_from_reference(fit.motion, centre, on_line).y_px ==
          within_abs(expected.y_px, 0.03));
    CHECK(motion_u_px(fit.covariance, centre, {700, 40}) >
          5.0 * motion_u_px(fit.covariance, centre, on_line));
  }

  TEST_CASE("fewer than three places are a mistake of the caller") {
    const std::vector<PlacePair> two(2, PlacePair{{1, 2}, {1, 2}});
    CHECK_THROWS_AS(static_cast<void>(fit_motion(two, kFrame, {})), std::invalid_argument);
  }
}
