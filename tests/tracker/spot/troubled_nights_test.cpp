// Nights with each fault that a home can have: the spot is measured in at least 98 % of the frames
// in which it can be seen, false positions are rarer than 1 in 2000 and never last, and the stated
// uncertainty is that of the errors.
#include <doctest/doctest.h>

#include "tests/support/near.h"
#include "tests/support/night_troubles.h"

using namespace nightswing::test;

namespace {

void check(const TroubledNight& night) {
  const NightOutcome outcome = run_night(night);
  CAPTURE(outcome.failures);
  CAPTURE(outcome.worst_px);
  CAPTURE(outcome.rms_px);
  CHECK(outcome.visible > 1000);
  CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
  CHECK(outcome.wrong * 2000 <= outcome.measured);
  CHECK(outcome.longest_wrong <= 3);
  CHECK(outcome.pull_width == within_abs(1.025, 0.225));  // 0.80 to 1.25
}

}  // namespace

TEST_SUITE("troubled_nights") {
  TEST_CASE("a quiet night is measured whole") {
    check({});
  }

  TEST_CASE("a spot that creeps over a wall not seen before") {
    check({.period_frames = 20'000});  // 0.05 px a frame at most
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

  TEST_CASE("an image that creeps along does not become part of the wall") {
    // At 0.14 px a frame at most it stays on a pixel for a hundred frames and more. Where the spot
    // is alone its error is 0.013 px; an image that had become wall would leave 0.025 px.
    const NightOutcome outcome =
        run_night({.troubles = {moving_ghost(0.3, -0.6)}, .frames = 4000, .period_frames = 4000});
    CAPTURE(outcome.failures);
    CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
    CHECK(outcome.rms_px < 0.018);
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

  TEST_CASE("films of such nights, as fine H.264 keeps them") {
    const std::string encoding = "-c:v libx264 -preset veryfast -crf 18 -bf 2 -pix_fmt yuv420p";
    // film_nights_bench has longer ones.
    check({.troubles = {reflection(180, 340.4), person}, .frames = 1200, .encoding = encoding});
    check({.troubles = {moving_ghost(0.3, -0.6)}, .frames = 1200, .encoding = encoding});
    check({.troubles = {black_frames}, .amplitude_px = 300, .encoding = encoding});
  }

  TEST_CASE("a film of coarse H.264 with a weak image that it blurs where it crosses the spot") {
    const NightOutcome outcome =
        run_night({.troubles = {moving_ghost(0.15, -0.8)},
                   .encoding = "-c:v libx264 -crf 23 -bf 2 -pix_fmt yuv420p"});
    CAPTURE(outcome.failures);
    CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
    CHECK(outcome.wrong <= 1);  // the first crossing comes before it is known
    CHECK(outcome.pull_width == within_abs(1.025, 0.225));
  }

  TEST_CASE("the first pictures of coarse H.264, whose spots look as if they had a halo") {
    // Before it is known of the film that it is lossy; a mark on the wall is no spot instead.
    const NightOutcome outcome =
        run_night({.frames = 40, .encoding = "-c:v libx264 -crf 23 -bf 2 -pix_fmt yuv420p"});
    CAPTURE(outcome.failures);
    CHECK(outcome.wrong == 0);
    CHECK(outcome.visible_measured >=
          outcome.visible - 2);  // until the film is known for what it is
  }

  TEST_CASE("films of coarse H.264, which holds the spot back where it turns") {
    // Such coding draws the spot of a picture between two others on the straight line between them:
    // in the frames beside a turn it is off by up to half a pixel, which its shape does not show.
    const std::string encoding = "-c:v libx264 -preset veryfast -crf 23 -bf 2 -pix_fmt yuv420p";
    int measured = 0;
    int wrong = 0;
    for (const TroubledNight& night : {TroubledNight{.troubles = {reflection(180, 340.4)}},
                                       TroubledNight{.troubles = {lamp_and_dawn}},
                                       TroubledNight{.period_frames = 300}}) {
      TroubledNight film = night;
      film.encoding = encoding;
      const NightOutcome outcome = run_night(film);
      CAPTURE(outcome.failures);
      CHECK(outcome.visible_measured >= 0.98 * outcome.visible);
      CHECK(outcome.longest_wrong <= 3);
      CHECK(outcome.worst_px < 1.0);
      CHECK(outcome.pull_width == within_abs(1.025, 0.225));  // 0.80 to 1.25
      measured += outcome.measured;
      wrong += outcome.wrong;
    }
    CHECK(wrong * 2000 <= measured);
  }

  TEST_CASE("five of these at once") {
    check(
        {.troubles = {
             lamp_and_dawn, reflection(150, 340.4), moving_ghost(0.2, -0.6), hot_pixels, person}});
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
