#include <cmath>
#include <random>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/support/near.h"
#include "tests/support/synthetic_spot.h"
#include "tests/tracker/spot/usual_pictures.h"
#include "tracker/spot/spot_finder.h"

using namespace nightswing;
using test::kPictureSize;
using test::kQuietCamera;
using test::within_abs;
using tracker::SpotState;

namespace {

cv::Mat lit_wall() {
  return test::plane_light(kPictureSize, {60, 0.05, 0});
}
cv::Mat no_spot() {
  return cv::Mat::zeros(kPictureSize, CV_64FC1);
}

/// White paper with black squares, white cells in them, and ticks, as printed scales have.
cv::Mat printed_wall() {
  cv::Mat wall = lit_wall();
  wall(cv::Rect(30, 30, 260, 160)) += 60.0;
  for (int k = 0; k < 5; ++k) {
    wall(cv::Rect(40 + 50 * k, 40, 30, 30)) = 12.0;
    wall(cv::Rect(50 + 50 * k, 46, 6, 6)) = 120.0;
    wall(cv::Rect(56 + 50 * k, 58, 8, 6)) = 120.0;
  }
  for (int k = 0; k < 50; ++k) wall(cv::Rect(40 + 5 * k, 160, 1, k % 10 == 0 ? 12 : 6)) = 30.0;
  return wall;
}

SpotState state_of(const cv::Mat& frame) {
  tracker::SpotFinder finder;
  return finder.measure(frame).state;
}

}  // namespace

TEST_SUITE("spot_state") {
  TEST_CASE("every state has a word, and the word leads back") {
    for (const auto state : {SpotState::kFound,
                             SpotState::kClipped,
                             SpotState::kBlocked,
                             SpotState::kLost,
                             SpotState::kDark}) {
      CHECK(tracker::spot_state_from(tracker::word_for(state)) == state);
    }
    CHECK_FALSE(tracker::spot_state_from("somewhere").has_value());
  }

  TEST_CASE("a lit frame without a spot is lost, a black one dark, and neither has a position") {
    std::mt19937_64 random(1);
    tracker::SpotFinder lit;
    tracker::SpotFinder dark;
    for (int k = 0; k < 30; ++k) {
      const auto in_light =
          lit.measure(test::photograph(lit_wall(), no_spot(), kQuietCamera, random));
      CHECK(in_light.state == SpotState::kLost);
      CHECK_FALSE(in_light.position.has_value());
      const cv::Mat night = test::plane_light(kPictureSize, {1.0, 0, 0});
      const auto in_dark = dark.measure(test::photograph(night, no_spot(), kQuietCamera, random));
      CHECK(in_dark.state == SpotState::kDark);
      CHECK_FALSE(in_dark.position.has_value());
    }
  }

  TEST_CASE("frames of one single value are no error") {
    for (const int value : {0, 128, 255}) {
      const auto m =
          tracker::SpotFinder().measure(cv::Mat(kPictureSize, CV_8UC3, cv::Scalar::all(value)));
      CHECK_FALSE(m.position.has_value());
      CHECK(m.state == (value == 0 ? SpotState::kDark : SpotState::kLost));
    }
  }

  TEST_CASE("the printed marks of a scale are not taken for the spot") {
    std::mt19937_64 random(2);
    CHECK(state_of(test::photograph(printed_wall(), no_spot(), kQuietCamera, random)) ==
          SpotState::kLost);
    tracker::SpotFinder finder;
    const cv::Mat spot = test::spot_light(kPictureSize, {80, 171.3, 118.6, 4, 4});
    const auto m = finder.measure(test::photograph(printed_wall(), spot, kQuietCamera, random));
    REQUIRE(m.state == SpotState::kFound);
    CHECK(m.position->x_px == within_abs(171.3, 0.1));  // ten times the noise
  }

  TEST_CASE("a spot in a dark room is found") {
    std::mt19937_64 random(3);
    const cv::Mat night = test::plane_light(kPictureSize, {1.0, 0, 0});
    const cv::Mat spot = test::spot_light(kPictureSize, {80, 100.2, 90.4, 3, 3});
    CHECK(state_of(test::photograph(night, spot, kQuietCamera, random)) == SpotState::kFound);
  }

  TEST_CASE("a single hot pixel is no spot") {
    std::mt19937_64 random(4);
    cv::Mat frame = test::photograph(lit_wall(), no_spot(), kQuietCamera, random);
    frame.at<std::uint8_t>(120, 200) = 255;
    frame.at<std::uint8_t>(50, 70) = 200;
    CHECK(state_of(frame) == SpotState::kLost);
  }

  TEST_CASE("a hot pixel beside the spot does not drag it") {
    std::mt19937_64 random(5);
    const cv::Mat spot = test::spot_light(kPictureSize, {80, 160.4, 120.2, 4, 4});
    cv::Mat frame = test::photograph(lit_wall(), spot, kQuietCamera, random);
    frame.at<std::uint8_t>(125, 166) = 255;
    const auto m = tracker::SpotFinder().measure(frame);
    REQUIRE(m.position.has_value());
    CHECK(m.position->x_px == within_abs(160.4, 0.1));
    CHECK(m.position->y_px == within_abs(120.2, 0.1));
  }

  TEST_CASE("a spot cut by the edge of the frame is blocked, whether or not it was known before") {
    std::mt19937_64 random(6);
    const auto frame_at = [&](double x_px) {
      const cv::Mat spot = test::spot_light(kPictureSize, {120, x_px, 120.3, 5, 5});
      return test::photograph(lit_wall(), spot, kQuietCamera, random);
    };
    CHECK(state_of(frame_at(2.0)) == SpotState::kBlocked);
    CHECK(state_of(frame_at(317.5)) == SpotState::kBlocked);
    tracker::SpotFinder finder;
    for (double x_px = 60; x_px > 20; x_px -= 2) {
      CHECK(finder.measure(frame_at(x_px)).state == SpotState::kFound);
    }
    for (double x_px = 20; x_px > 12; x_px -= 2) (void)finder.measure(frame_at(x_px));
    for (double x_px = 8; x_px > 0; x_px -= 2) {
      CHECK(finder.measure(frame_at(x_px)).state == SpotState::kBlocked);
    }
    CHECK(finder.measure(frame_at(-30)).state == SpotState::kLost);
    CHECK(finder.measure(frame_at(40)).state == SpotState::kFound);
  }

  TEST_CASE("a covered spot is blocked, and found again when it is free") {
    std::mt19937_64 random(7);
    tracker::SpotFinder finder;
    const cv::Mat spot = test::spot_light(kPictureSize, {120, 150.3, 120.3, 5, 5});
    for (int k = 0; k < 10; ++k) {
      CHECK(finder.measure(test::photograph(lit_wall(), spot, kQuietCamera, random)).state ==
            SpotState::kFound);
    }
    cv::Mat covered = spot.clone();
    covered.colRange(150, 320) = 0.0;
    CHECK(finder.measure(test::photograph(lit_wall(), covered, kQuietCamera, random)).state ==
          SpotState::kBlocked);
    CHECK(finder.measure(test::photograph(lit_wall(), no_spot(), kQuietCamera, random)).state ==
          SpotState::kLost);
    CHECK(finder.measure(test::photograph(lit_wall(), spot, kQuietCamera, random)).state ==
          SpotState::kFound);
  }

  TEST_CASE("a second light merged with the spot blocks it") {
    std::mt19937_64 random(8);
    tracker::SpotFinder finder;
    const cv::Mat spot = test::spot_light(kPictureSize, {120, 150.3, 120.3, 5, 5});
    for (int k = 0; k < 10; ++k) {
      (void)finder.measure(test::photograph(lit_wall(), spot, kQuietCamera, random));
    }
    const cv::Mat merged = spot + test::spot_light(kPictureSize, {120, 161.0, 120.3, 5, 5});
    CHECK(finder.measure(test::photograph(lit_wall(), merged, kQuietCamera, random)).state ==
          SpotState::kBlocked);
  }

  TEST_CASE("after a change of focus the new width is accepted within 30 frames") {
    std::mt19937_64 random(9);
    tracker::SpotFinder finder;
    const auto frame_of = [&](double sigma_px) {
      const cv::Mat spot = test::spot_light(kPictureSize, {120, 150.3, 120.3, sigma_px, sigma_px});
      return test::photograph(lit_wall(), spot, kQuietCamera, random);
    };
    for (int k = 0; k < 10; ++k) CHECK(finder.measure(frame_of(4)).state == SpotState::kFound);
    CHECK(finder.measure(frame_of(7)).state == SpotState::kBlocked);
    for (int k = 0; k < 30; ++k) (void)finder.measure(frame_of(7));
    CHECK(finder.measure(frame_of(7)).state == SpotState::kFound);
  }

  TEST_CASE("a saturated red core is clipped and not displaced, whatever its phase") {
    // Noise of one count in each plane; the centre's noise is below 0.01 px.
    std::mt19937_64 random(10);
    const cv::Mat wall = test::plane_light(kPictureSize, {30, 0, 0});
    for (const double phase_px : {-0.4, -0.15, 0.1, 0.35}) {
      tracker::SpotFinder finder;
      const cv::Mat spot =
          test::spot_light(kPictureSize, {450, 150 + phase_px, 120 - 0.6 * phase_px, 5, 4.2});
      const auto m = finder.measure(test::photograph_colour(
          {wall + 0.05 * spot, wall + 0.1 * spot, wall + spot}, kQuietCamera, random));
      REQUIRE(m.state == SpotState::kClipped);
      CHECK(m.position->x_px == within_abs(150 + phase_px, 0.03));
      CHECK(m.position->y_px == within_abs(120 - 0.6 * phase_px, 0.03));
      // Luma of the unclipped spot: 0.299 red + 0.587 green + 0.114 blue (ITU-R BT.601).
      CHECK(m.position->peak == test::within_rel(450 * (0.299 + 0.0587 + 0.0057), 0.03));
      CHECK(m.position->width_px == test::within_rel(std::sqrt(5 * 4.2), 0.02));
    }
  }

  TEST_CASE("gray frames and colour frames of equal planes give the same, bit for bit") {
    std::mt19937_64 random(11);
    tracker::SpotFinder gray;
    tracker::SpotFinder colour;
    tracker::SpotFinder again;
    for (int k = 0; k < 60; ++k) {
      const cv::Mat spot = test::spot_light(kPictureSize, {90, 60 + 3.0 * k, 110.4, 3, 3});
      const cv::Mat frame = test::photograph(printed_wall(), spot, kQuietCamera, random);
      cv::Mat bgr;
      cv::cvtColor(frame, bgr, cv::COLOR_GRAY2BGR);
      const auto first = gray.measure(frame);
      CHECK(first == colour.measure(bgr));
      CHECK(first == again.measure(frame));
    }
  }

  TEST_CASE("whatever the picture shows, every number reported is finite and positive where due") {
    std::mt19937_64 random(12);
    std::uniform_int_distribution<int> side(1, 70);
    std::uniform_int_distribution<int> value(0, 255);
    for (int k = 0; k < 150; ++k) {
      const cv::Size size(side(random), side(random));
      tracker::SpotFinder finder;
      for (int frame = 0; frame < 4; ++frame) {
        cv::Mat picture(size, CV_8UC3, cv::Scalar::all(value(random)));
        for (int block = 0; block < 3; ++block) {
          const cv::Rect place(side(random) % size.width, side(random) % size.height, 9, 9);
          const cv::Scalar colour(value(random), value(random), value(random));
          picture(place & cv::Rect({0, 0}, size)).setTo(colour);
        }
        if (k % 3 == 0) cv::GaussianBlur(picture, picture, {7, 7}, 2.0);
        const auto m = finder.measure(picture);
        CHECK(m.position.has_value() >= tracker::is_measured(m.state));
        if (!m.position) continue;
        CHECK(std::isfinite(m.position->x_px + m.position->y_px + m.position->peak));
        CHECK(m.position->u_x_px > 0);
        CHECK(m.position->u_y_px > 0);
        CHECK(m.position->width_px > 0);
        CHECK(std::isfinite(m.position->u_x_px + m.position->u_y_px + m.position->width_px));
      }
    }
  }

  TEST_CASE("the wrong kind of matrix is the caller's error") {
    tracker::SpotFinder finder;
    CHECK_THROWS_AS((void)finder.measure(cv::Mat()), std::invalid_argument);
    const auto black = [](cv::Size size) { return cv::Mat(size, CV_8UC1, cv::Scalar(0)); };
    (void)finder.measure(black(kPictureSize));
    CHECK_THROWS_AS((void)finder.measure(black({321, 240})), std::invalid_argument);
    CHECK_NOTHROW((void)tracker::SpotFinder().measure(black({3, 2})));
  }
}
