// Nights with each fault that a home can have: the spot is measured in at least 98 % of the frames
// in which it can be seen, and false positions are rarer than 1 in 2000 and never last.
#include <cmath>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/support/troubled_night.h"

using namespace nightswing::test;

namespace {

/// A second, fixed light on the spot's path: a window pane, the case.
Trouble reflection(double peak, double x_px, double sigma_px = 4.5) {
  return [=](int, ScenePicture& picture, std::mt19937_64&) {
    add_light(picture.light, peak, x_px, 135.6, sigma_px);
  };
}

/// A second, weaker image of the spot from the other side of the mirror's glass, which runs the
/// other way and crosses it.
Trouble moving_ghost(double share, double gain) {
  return [=](int, ScenePicture& picture, std::mt19937_64&) {
    const double x_px = 250.0 + gain * (picture.spot_x_px - 240.0);
    add_light(picture.light, share * kSceneSpotPeak, x_px, 134.5, kSceneSpotSigma_px);
  };
}

/// Lamp on from 400 to 800 and 1200 to 1300, then a slow dawn.
void lamp_and_dawn(int frame, ScenePicture& picture, std::mt19937_64&) {
  if ((frame >= 400 && frame < 800) || (frame >= 1200 && frame < 1300)) picture.light *= 2.1;
  if (frame >= 1400) picture.light += 0.1 * (frame - 1400);
}

/// Sixty pixels that always shine, and ten others in every frame.
void hot_pixels(int, ScenePicture& picture, std::mt19937_64& random) {
  std::mt19937_64 fixed(4);
  std::uniform_int_distribution<int> x(0, kSceneSize.width - 1);
  std::uniform_int_distribution<int> y(0, kSceneSize.height - 1);
  for (int k = 0; k < 60; ++k) picture.light.at<float>(y(fixed), x(fixed)) += 180.0F;
  for (int k = 0; k < 10; ++k) picture.light.at<float>(y(random), x(random)) += 150.0F;
}

/// Every 300 frames somebody walks through: dark, 110 px wide, 25 frames from side to side.
void person(int frame, ScenePicture& picture, std::mt19937_64&) {
  const int walk = frame % 300 - 100;
  if (walk < 0 || walk >= 25) return;
  const int left_px = -110 + walk * (kSceneSize.width + 110) / 25;
  const cv::Rect body = cv::Rect(left_px, 30, 110, 240) & cv::Rect({0, 0}, kSceneSize);
  cv::Mat shaded = picture.light(body);
  shaded *= 0.35;
  const double from_body_px =
      std::max(left_px - picture.spot_x_px, picture.spot_x_px - (left_px + 110));
  if (from_body_px < 0) picture.spot_share = 0.0;  // the body is nearer than the wall: no spot
  if (from_body_px < 4 * kSceneSpotSigma_px) picture.visible = false;
}

/// Every 250 frames a torch plays on the wall for 40 frames: small, broad, and brighter.
void torch(int frame, ScenePicture& picture, std::mt19937_64&) {
  const int play = frame % 250 - 120;
  if (play < 0 || play >= 40) return;
  const double x_px = 240 + 180 * std::sin(0.31 * play + frame / 250);
  const double y_px = 120 + 60 * std::sin(0.47 * play);
  add_light(picture.light, 150, x_px, y_px, 9.0 + 9.0 * (frame / 250 % 2));
  const double apart_px = std::hypot(x_px - picture.spot_x_px, y_px - picture.spot_y_px);
  if (apart_px < 60) picture.visible = false;  // within its light
}

/// Every 150 frames the camera gives 8 black ones.
void black_frames(int frame, ScenePicture& picture, std::mt19937_64&) {
  if (frame % 150 < 142) return;
  picture.light *= 0.0;
  picture.spot_share = 0.0;
}

/// The exposure hunts.
void exposure(int frame, ScenePicture& picture, std::mt19937_64&) {
  const int step = frame / 170 % 4;
  picture.gain = step == 1 ? 0.6 : step == 3 ? 1.5 : 1.0;
}

void check(const TroubledNight& night) {
  const NightOutcome outcome = run_night(night);
  CAPTURE(outcome.failures);
  CAPTURE(outcome.worst_px);
  CAPTURE(outcome.rms_px);
  CHECK(outcome.visible > 1000);
  CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
  CHECK(outcome.wrong * 2000 <= outcome.measured);
  CHECK(outcome.longest_wrong <= 3);
}

}  // namespace

TEST_SUITE("troubled_nights") {
  TEST_CASE("a quiet night is measured whole") {
    check({});
  }

  TEST_CASE("a fixed reflection on the path, brighter or weaker, wider, or where the spot turns") {
    check({.troubles = {reflection(180, 340.4)}});
    check({.troubles = {reflection(90, 180.4)}});
    check({.troubles = {reflection(180, 388.0)}});
    check({.troubles = {reflection(140, 250.4, 7.0)}});
    check({.troubles = {reflection(180, 340.4), reflection(150, 140.0)}});
  }

  TEST_CASE("a weaker image of the spot that crosses it") {
    check({.troubles = {moving_ghost(0.15, -0.8)}});
    check({.troubles = {moving_ghost(0.3, -0.6)}});
    check({.troubles = {moving_ghost(0.5, -1.0)}});
  }

  TEST_CASE("a lamp switched on and off, and dawn, without and with a reflection") {
    check({.troubles = {lamp_and_dawn}});
    check({.troubles = {lamp_and_dawn, reflection(180, 340.4)}});
  }

  TEST_CASE("hot pixels and specks") {
    check({.troubles = {hot_pixels}});
  }

  TEST_CASE("a person who walks through, without and with a reflection") {
    check({.troubles = {person}});
    check({.troubles = {reflection(180, 340.4), person}});
  }

  TEST_CASE("a torch that plays on the wall") {
    check({.troubles = {torch}});
  }

  TEST_CASE("a spot that leaves the frame and returns") {
    check({.amplitude_px = 300});
  }

  TEST_CASE("black frames, without and with a reflection") {
    check({.troubles = {black_frames}});
    check({.troubles = {reflection(180, 340.4), black_frames}});
  }

  TEST_CASE("an exposure that hunts") {
    check({.troubles = {exposure}});
  }

  TEST_CASE("five of these at once: a little off in 1 of 200 frames at most, never for long") {
    const NightOutcome outcome = run_night(
        {.troubles = {
             lamp_and_dawn, reflection(150, 340.4), moving_ghost(0.2, -0.6), hot_pixels, person}});
    CAPTURE(outcome.failures);
    CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
    CHECK(outcome.wrong * 200 <= outcome.measured);
    CHECK(outcome.longest_wrong <= 3);
    CHECK(outcome.worst_px < 1.0);
  }

  TEST_CASE(
      "an image that runs beside the spot for long is blocked, not guessed, until it is known") {
    // Crossings at half the spot's speed: the first ones come before the image has been seen apart.
    const NightOutcome outcome = run_night({.troubles = {moving_ghost(0.3, 0.5)}});
    CAPTURE(outcome.failures);
    CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
    CHECK(outcome.wrong <= 4);
    CHECK(outcome.longest_wrong <= 3);
  }

  TEST_CASE("a reflection and a moving image together from the first frame on") {
    const NightOutcome outcome =
        run_night({.troubles = {moving_ghost(0.3, -0.6), reflection(180, 340.4)}});
    CAPTURE(outcome.failures);
    CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
    CHECK(outcome.wrong <= 4);
    CHECK(outcome.longest_wrong <= 3);
  }
}
