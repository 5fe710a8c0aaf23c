#include "tracker/spot/spot_search.h"

#include <array>
#include <cmath>
#include <random>

#include <doctest/doctest.h>

#include "tests/support/near.h"
#include "tests/support/synthetic_spot.h"
#include "tests/tracker/spot/usual_pictures.h"

using namespace nightswing;
using test::kNowhere;
using test::kPictureSize;
using test::within_abs;
using tracker::FrameSearch;
using tracker::search_frame;
using tracker::WallLight;

namespace {

/// The search counts in squares of 4 px, so that it knows a place to half of one in each direction.
constexpr double kCell_px = 2.1;

cv::Mat picture_of(const cv::Mat& wall, const cv::Mat& spots, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  return test::photograph(wall, spots, {.read_counts = 1.0}, random);
}

cv::Mat even_wall() {
  return test::plane_light(kPictureSize, {.level = 50});
}

cv::Mat spot(double x_px, double y_px, double peak) {
  return test::spot_light(kPictureSize, {peak, x_px, y_px, 4.0, 4.0});
}

void check_best(const FrameSearch& search, double x_px, double y_px) {
  REQUIRE_FALSE(search.candidates.empty());
  CHECK(search.candidates.front().x_px == within_abs(x_px, kCell_px));
  CHECK(search.candidates.front().y_px == within_abs(y_px, kCell_px));
}

}  // namespace

TEST_SUITE("spot_search") {
  TEST_CASE("a spot on an unknown wall is the best candidate, wherever it is") {
    for (const cv::Point2d place : {cv::Point2d(100.3, 60.8), {250.0, 200.2}, {12.0, 9.0}}) {
      CAPTURE(place.x);
      const cv::Mat frame = picture_of(even_wall(), spot(place.x, place.y, 40), 1);
      check_best(search_frame(frame, WallLight(), kNowhere), place.x, place.y);
    }
  }

  TEST_CASE("the mean luma is that of the frame") {
    const cv::Mat frame = picture_of(even_wall(), spot(100, 60, 0), 2);
    // 76 800 pixels of 1 count of noise: 0.004 counts; five times that.
    CHECK(search_frame(frame, WallLight(), kNowhere).mean_luma == within_abs(50.0, 0.02));
  }

  TEST_CASE("a frame without a spot still names the likeliest place, with a low score") {
    const cv::Mat frame = picture_of(even_wall(), spot(100, 60, 0), 3);
    const FrameSearch search = search_frame(frame, WallLight(), kNowhere);
    REQUIRE_FALSE(search.candidates.empty());
    // 16 pixels of 1 count in a square: 0.25 counts; the largest of 4800 lies about 4 of these out,
    // and the flattened surroundings follow the lowest noise by as much again.
    CHECK(search.candidates.front().score < 2.5);
  }

  TEST_CASE("of two spots the brighter comes first, and one left out is not named") {
    const cv::Mat spots = spot(80, 60, 80) + spot(240, 180, 40);
    const cv::Mat frame = picture_of(even_wall(), spots, 4);
    const FrameSearch both = search_frame(frame, WallLight(), kNowhere);
    REQUIRE(both.candidates.size() >= 2);
    check_best(both, 80, 60);
    CHECK(both.candidates[1].x_px == within_abs(240, kCell_px));
    CHECK(both.candidates[0].score > both.candidates[1].score);
    check_best(search_frame(frame, WallLight(), cv::Rect(50, 30, 60, 60)), 240, 180);
  }

  TEST_CASE("a fixed light is no candidate once the wall is known") {
    const cv::Mat wall = even_wall() + spot(80, 60, 120);
    WallLight known;
    for (std::uint64_t k = 0; k < 10; ++k) {
      known.learn(picture_of(wall, spot(0, 0, 0), 10 + k), kNowhere);
    }
    const cv::Mat frame = picture_of(wall, spot(240, 180, 30), 5);
    check_best(search_frame(frame, WallLight(), kNowhere), 80, 60);
    check_best(search_frame(frame, known, kNowhere), 240, 180);
  }

  TEST_CASE("white paper between printed marks is no light") {
    cv::Mat wall = test::plane_light(kPictureSize, {.level = 150});
    for (int x = 8; x < 320; x += 16) wall(cv::Rect(x, 100, 8, 40)) = 20.0;
    const cv::Mat frame = picture_of(wall, spot(200, 40, 30), 6);
    check_best(search_frame(frame, WallLight(), kNowhere), 200, 40);
  }

  TEST_CASE("of two lights of equal luma the coloured one is the likelier laser") {
    const cv::Mat wall = even_wall();
    // Red alone counts 0.299 of the luma; the white light has as much luma in all three.
    const cv::Mat red = spot(80, 60, 100);
    const cv::Mat white = spot(240, 180, 30);
    std::mt19937_64 random(7);
    const cv::Mat frame = test::photograph_colour(
        {cv::Mat(wall + white), cv::Mat(wall + white), cv::Mat(wall + white + red)},
        {.read_counts = 1.0},
        random);
    const FrameSearch search = search_frame(frame, WallLight(), kNowhere);
    check_best(search, 80, 60);
    REQUIRE(search.candidates.size() >= 2);
    // Up to twice the score; the brightness of a square depends on where it cuts the spot.
    CHECK(search.candidates[0].score / search.candidates[1].score > 1.5);
  }

  TEST_CASE("at most six candidates are named, the best first") {
    cv::Mat spots = spot(0, 0, 0);
    for (int k = 0; k < 9; ++k) {
      const int column = k % 3;
      const int row = k / 3;
      spots += spot(40.0 + 100.0 * column, 40.0 + 80.0 * row, 30.0 + 5.0 * k);
    }
    const FrameSearch search =
        search_frame(picture_of(even_wall(), spots, 8), WallLight(), kNowhere);
    REQUIRE(search.candidates.size() == 6);
    for (std::size_t k = 1; k < 6; ++k) {
      CHECK(search.candidates[k].score <= search.candidates[k - 1].score);
    }
  }

  TEST_CASE("the rough width of a spot is its sigma") {
    for (const double sigma_px : {2.0, 4.0, 8.0}) {
      CAPTURE(sigma_px);
      const cv::Size size(101, 101);
      const cv::Mat light = test::spot_light(size, {100, 50.3, 49.8, sigma_px, sigma_px}) +
                            test::plane_light(size, {.level = 30});
      std::mt19937_64 random(9);
      const cv::Mat frame =
          test::photograph(light, cv::Mat::zeros(size, CV_64FC1), {.read_counts = 1.0}, random);
      const auto patch = tracker::cut_patch(frame, cv::Rect({0, 0}, size), 250);
      // Counted in whole pixels and smoothed over three: a tenth, and 0.3 px for the narrow one.
      CHECK(tracker::rough_width_px(patch, 51.0, 49.0) ==
            within_abs(sigma_px, 0.1 * sigma_px + 0.3));
    }
  }

  TEST_CASE("an even patch has no width, nor has a place outside it") {
    const cv::Mat even(60, 60, CV_8UC1, cv::Scalar(40));
    const auto patch = tracker::cut_patch(even, cv::Rect(0, 0, 60, 60), 250);
    CHECK(tracker::rough_width_px(patch, 30, 30) == 0.0);
    CHECK(tracker::rough_width_px(patch, 300, 30) == 0.0);
  }
}
