#include "tracker/spot/wall_light.h"

#include <cmath>

#include <doctest/doctest.h>

#include "tests/support/near.h"
#include "tests/tracker/spot/usual_pictures.h"

using namespace nightswing;
using test::kNowhere;
using test::within_abs;
using tracker::SpotPatch;
using tracker::WallLight;

namespace {

cv::Mat even(cv::Size size, int counts) {
  return {size, CV_8UC1, cv::Scalar(counts)};
}

/// Shows the same frame so often that every pixel is trusted.
WallLight learned(const cv::Mat& frame) {
  WallLight wall;
  for (int k = 0; k < 8; ++k) wall.learn(frame, kNowhere);
  return wall;
}

SpotPatch cut(const cv::Mat& frame) {
  return tracker::cut_patch(frame, cv::Rect({0, 0}, frame.size()), 250);
}

}  // namespace

TEST_SUITE("wall_light") {
  TEST_CASE("the wall is the mean of the frames, except where the spot was") {
    WallLight wall;
    CHECK(wall.mean().empty());
    const cv::Rect spot(4, 2, 3, 5);
    for (const int counts : {38, 40, 45}) wall.learn(even({12, 9}, counts), spot);
    CHECK(wall.mean().at<float>(0, 0) == within_abs(41.0, 1e-5));  // of single precision
    CHECK(wall.looks().at<std::uint8_t>(0, 0) == 3);
    CHECK(wall.looks().at<std::uint8_t>(2, 4) == 0);  // the corners of the zone are in it
    CHECK(wall.looks().at<std::uint8_t>(6, 6) == 0);
    CHECK(wall.looks().at<std::uint8_t>(7, 6) == 3);
    CHECK(wall.looks().at<std::uint8_t>(6, 7) == 3);
    CHECK(cv::countNonZero(wall.looks() == 0) == spot.area());
  }

  TEST_CASE("a colour frame is learned as its luma") {
    WallLight wall;
    wall.learn(cv::Mat(4, 4, CV_8UC3, cv::Scalar(200, 100, 50)), kNowhere);
    // Rec. ITU-R BT.601: 0.114 blue + 0.587 green + 0.299 red, rounded to whole counts.
    CHECK(wall.mean().at<float>(1, 1) ==
          within_abs(std::round(0.114 * 200 + 0.587 * 100 + 0.299 * 50), 1e-5));
  }

  TEST_CASE("after eight frames one eighth of the rows is learned from each") {
    WallLight wall = learned(even({6, 16}, 40));
    CHECK(cv::countNonZero(wall.looks() == 8) == 6 * 16);
    wall.learn(even({6, 16}, 40), kNowhere);
    CHECK(cv::countNonZero(wall.looks() == 9) == 6 * 2);
    for (int k = 0; k < 7; ++k) wall.learn(even({6, 16}, 40), kNowhere);
    CHECK(cv::countNonZero(wall.looks() == 9) == 6 * 16);
  }

  TEST_CASE("from frame 512 on one sixteenth of the rows is learned from each") {
    WallLight wall = learned(even({6, 16}, 40));
    for (int k = 8; k < 512; ++k) wall.learn(even({6, 16}, 40), kNowhere);
    wall.learn(even({6, 16}, 42), kNowhere);
    CHECK(cv::countNonZero(wall.mean() > 40.0) == 6);
    for (int k = 0; k < 15; ++k) wall.learn(even({6, 16}, 42), kNowhere);
    CHECK(cv::countNonZero(wall.mean() > 40.0) == 6 * 16);
  }

  TEST_CASE("no row of a height that eight does not divide is passed over") {
    WallLight wall = learned(even({3, 13}, 40));
    for (int k = 0; k < 8; ++k) wall.learn(even({3, 13}, 40), kNowhere);
    CHECK(cv::countNonZero(wall.looks() == 9) == 3 * 13);
    for (int k = 16; k < 512; ++k) wall.learn(even({3, 13}, 40), kNowhere);
    for (int k = 0; k < 16; ++k) wall.learn(even({3, 13}, 42), kNowhere);
    CHECK(cv::countNonZero(wall.mean() > 40.0) == 3 * 13);
  }

  TEST_CASE("the mean follows a slow change over 32 looks") {
    WallLight wall = learned(even({2, 8}, 40));
    // Below frame 512, from which on a look takes twice as many frames.
    for (int k = 0; k < 8 * 24; ++k) wall.learn(even({2, 8}, 40), kNowhere);
    CHECK(wall.looks().at<std::uint8_t>(0, 0) == 32);
    for (int k = 0; k < 8 * 32; ++k) wall.learn(even({2, 8}, 46), kNowhere);
    // Each look takes 1/32 of what is missing: 1 - (1 - 1/32)^32 of the step after 32 looks.
    CHECK(wall.mean().at<float>(7, 1) ==
          within_abs(40.0 + 6.0 * (1.0 - std::pow(31.0 / 32.0, 32)), 1e-3));
  }

  TEST_CASE("what passes before the wall is not learned, what stays for eight looks is") {
    WallLight wall = learned(even({200, 8}, 60));
    for (int k = 0; k < 8 * 40; ++k) wall.learn(even({200, 8}, 60), kNowhere);
    cv::Mat somebody = even({200, 8}, 60);
    somebody.colRange(0, 30) = 20;
    somebody.colRange(100, 130) = 120;
    for (int k = 0; k < 8 * 7; ++k) wall.learn(somebody, kNowhere);
    CHECK(wall.mean().at<float>(3, 10) == 60.0);
    CHECK(wall.mean().at<float>(3, 110) == 60.0);
    CHECK(wall.looks().at<std::uint8_t>(3, 110) == 32);
    wall.learn(even({200, 8}, 60), kNowhere);  // the first row is seen again: it begins anew there
    for (int k = 0; k < 8; ++k) wall.learn(somebody, kNowhere);
    CHECK(wall.mean().at<float>(0, 110) == 60.0);
    CHECK(wall.mean().at<float>(3, 10) == 20.0);
    CHECK(wall.mean().at<float>(3, 110) == 120.0);
    CHECK(wall.looks().at<std::uint8_t>(3, 110) == 1);
    CHECK(wall.looks().at<std::uint8_t>(3, 50) == 32);
  }

  TEST_CASE(
      "a light that is brighter at one look and a shadow at the next are not one that stays") {
    WallLight wall = learned(even({200, 8}, 60));
    for (int k = 0; k < 12; ++k) {
      for (int row = 0; row < 8; ++row) wall.learn(even({200, 8}, k % 2 == 0 ? 90 : 30), kNowhere);
    }
    CHECK(wall.mean().at<float>(3, 10) == 60.0);
  }

  TEST_CASE("what passes while the wall is learned for the first time is forgotten at once") {
    WallLight wall;
    for (int k = 0; k < 3; ++k) wall.learn(even({12, 9}, 20), kNowhere);
    for (int k = 0; k < 5; ++k) wall.learn(even({12, 9}, 60), kNowhere);
    CHECK(wall.mean().at<float>(2, 2) == 60.0);
    CHECK(wall.looks().at<std::uint8_t>(2, 2) == 5);
  }

  TEST_CASE("what a noisy camera scatters is no passer") {
    // Noise of 8 counts, beyond 6 in 45 of 100: they would leave a mean of the middle ones alone,
    // and begin anew while little is known.
    cv::RNG noise(3);
    WallLight wall;
    cv::Mat frame(80, 320, CV_8UC1);
    for (int k = 0; k < 8 * 120; ++k) {
      noise.fill(frame, cv::RNG::NORMAL, 100.0, 8.0);
      wall.learn(frame, kNowhere);
    }
    CHECK(cv::countNonZero(wall.looks() == 32) > 0.99 * 80 * 320);
    // Means of 63 looks' worth (a memory of 32): 8 / sqrt(63) = 1.01 counts.
    cv::Mat mean;
    cv::Mat deviation;
    cv::meanStdDev(wall.mean(), mean, deviation);
    CHECK(deviation.at<double>(0) == within_abs(1.01, 0.05));
  }

  TEST_CASE("neither the spot's zone nor the ghost's is learned, wherever they lie") {
    const cv::Rect spot(4, 2, 3, 5);
    for (const cv::Rect ghost :
         {cv::Rect(8, 3, 3, 3), cv::Rect(0, 0, 2, 9), cv::Rect(5, 4, 4, 5), cv::Rect(3, 0, 6, 9)}) {
      WallLight wall;
      wall.learn(even({12, 9}, 30), spot, ghost);
      cv::Mat left_out = cv::Mat::zeros(9, 12, CV_8UC1);
      left_out(spot) = 255;
      left_out(ghost) = 255;
      CHECK(cv::countNonZero((wall.looks() == 0) != left_out) == 0);
    }
  }

  TEST_CASE("an even drift of half a count and more is followed at once, everywhere") {
    const cv::Size size(160, 160);
    WallLight wall = learned(even(size, 60));
    cv::Mat brighter = even(size, 63);
    brighter.rowRange(0, 32) = 150;  // somebody's lamp, which is no part of the drift
    const WallLight::Change change = wall.change_in(brighter, kNowhere);
    CHECK_FALSE(change.sudden);
    CHECK(change.drift == within_abs(3.0, 1e-6));
    wall.follow(0.4);
    CHECK(wall.mean().at<float>(5, 5) == 60.0);
    wall.follow(change.drift);
    CHECK(wall.mean().at<float>(5, 5) == within_abs(63.0, 1e-5));
    CHECK(wall.change_in(even(size, 63), kNowhere).drift == within_abs(0.0, 1e-5));
  }

  TEST_CASE("what was forgotten is learned anew from whole frames") {
    WallLight wall = learned(even({6, 16}, 40));
    wall.forget();
    CHECK(cv::countNonZero(wall.looks()) == 0);
    wall.learn(even({6, 16}, 90), kNowhere);
    CHECK(wall.mean().at<float>(15, 5) == within_abs(90.0, 1e-5));
    CHECK(cv::countNonZero(wall.looks() == 1) == 6 * 16);
  }

  TEST_CASE("a change of light is more than 6 counts and more than a tenth") {
    const cv::Size size(160, 160);
    const WallLight dim = learned(even(size, 40));
    CHECK_FALSE(dim.change_in(even(size, 46), kNowhere).sudden);
    CHECK(dim.change_in(even(size, 47), kNowhere).sudden);
    CHECK(dim.change_in(even(size, 33), kNowhere).sudden);
    const WallLight bright = learned(even(size, 200));
    CHECK_FALSE(bright.change_in(even(size, 222), kNowhere).sudden);  // a tenth of 222 is 22.2
    CHECK(bright.change_in(even(size, 223), kNowhere).sudden);
  }

  TEST_CASE("somebody in a third of the picture is no change of light") {
    // The grid of places has 10 rows of 10, one every 16 px.
    const cv::Size size(160, 160);
    const WallLight wall = learned(even(size, 60));
    cv::Mat frame = even(size, 60);
    frame.rowRange(0, 48) = 200;  // three rows of ten: not more than 3 in 10
    CHECK_FALSE(wall.change_in(frame, kNowhere).sudden);
    frame.rowRange(0, 64) = 200;
    CHECK(wall.change_in(frame, kNowhere).sudden);
    CHECK_FALSE(wall.change_in(frame, cv::Rect(0, 0, 160, 64)).sudden);  // if that is the spot's
  }

  TEST_CASE("colour makes no change of light where the luma is the same") {
    const cv::Size size(160, 160);
    const WallLight wall = learned(even(size, 98));
    // 0.114 * 185 + 0.587 * 100 + 0.299 * 60 = 97.7
    CHECK_FALSE(wall.change_in(cv::Mat(size, CV_8UC3, cv::Scalar(185, 100, 60)), kNowhere).sudden);
    CHECK(wall.change_in(cv::Mat(size, CV_8UC3, cv::Scalar(185, 130, 60)), kNowhere).sudden);
  }

  TEST_CASE("a wall not learned and a picture with few places tell no change") {
    CHECK_FALSE(WallLight().change_in(even({160, 160}, 90), kNowhere).sudden);
    const WallLight small = learned(even({64, 64}, 10));  // 16 places
    CHECK_FALSE(small.change_in(even({64, 64}, 250), kNowhere).sudden);
    WallLight forgotten = learned(even({160, 160}, 10));
    forgotten.forget();
    CHECK_FALSE(forgotten.change_in(even({160, 160}, 250), kNowhere).sudden);
  }

  TEST_CASE("another light is subtracted, print becomes a reflectance, plain wall stays") {
    // An even wall of 100 counts, a bright stripe of 130, black print of 20.
    cv::Mat frame = even({40, 40}, 100);
    frame.colRange(5, 8) = 130;
    frame.colRange(20, 23) = 20;
    SpotPatch patch = cut(frame);
    learned(frame).prepare(patch);
    // The plane passes exactly through the plain wall but for 1e-6 that keep it solvable.
    CHECK(patch.counts(6, 10) == within_abs(100.0, 1e-3));
    CHECK(patch.reflectance(6, 10) == 1.0);
    CHECK(patch.counts(21, 30) == within_abs(20.0, 1e-3));
    CHECK(patch.reflectance(21, 30) == within_abs(0.2, 1e-5));
    CHECK(patch.counts(35, 35) == within_abs(100.0, 1e-3));
    CHECK(patch.reflectance(35, 35) == 1.0);
  }

  TEST_CASE("print on a wall with a slope of light is judged by the light around it") {
    cv::Mat frame(60, 60, CV_8UC1);
    for (int y = 0; y < 60; ++y) {
      for (int x = 0; x < 60; ++x) {
        const double light = 60.0 + 1.5 * x + 0.5 * y;
        const bool print = x % 20 < 2;
        frame.at<std::uint8_t>(y, x) =
            static_cast<std::uint8_t>(std::lround(print ? 0.3 * light : light));
      }
    }
    SpotPatch patch = cut(frame);
    learned(frame).prepare(patch);
    for (const cv::Point& place : {cv::Point(0, 5), cv::Point(21, 30), cv::Point(41, 55)}) {
      CAPTURE(place.x);
      const double light = 60.0 + 1.5 * place.x + 0.5 * place.y;
      // Rounding to whole counts: 0.5 of the print, 0.3 * 0.5 of the wall.
      CHECK(patch.reflectance(place.x, place.y) == within_abs(0.3, 0.7 / light));
    }
    CHECK(patch.reflectance(30, 30) == 1.0);
    CHECK(patch.counts(30, 30) == within_abs(60.0 + 45.0 + 15.0, 0.5));  // the plane, not rounded
  }

  TEST_CASE("the blackest print keeps a reflectance above zero") {
    cv::Mat frame = even({40, 40}, 200);
    frame.colRange(10, 13) = 0;
    SpotPatch patch = cut(frame);
    learned(frame).prepare(patch);
    CHECK(patch.reflectance(11, 11) > 0.0);
    CHECK(patch.reflectance(11, 11) < 0.05);
  }

  TEST_CASE("no reflectance is made of a wall too dark to tell") {
    cv::Mat frame = even({40, 40}, 7);
    frame.colRange(10, 13) = 1;
    SpotPatch patch = cut(frame);
    learned(frame).prepare(patch);
    CHECK(patch.reflectance.minCoeff() == 1.0);
    CHECK(patch.counts(11, 20) == within_abs(7.0, 1e-3));
  }

  TEST_CASE("places seen less than eight times are left as they are") {
    cv::Mat frame = even({40, 40}, 100);
    frame.colRange(5, 8) = 130;
    const cv::Rect spot(0, 0, 40, 12);
    WallLight wall;
    for (int k = 0; k < 7; ++k) wall.learn(frame, kNowhere);
    SpotPatch early = cut(frame);
    wall.prepare(early);
    CHECK((early.counts - cut(frame).counts).abs().maxCoeff() == 0.0);
    wall.learn(frame, spot);
    SpotPatch patch = cut(frame);
    wall.prepare(patch);
    CHECK(patch.counts(6, 11) == 130.0);
    CHECK(patch.counts(6, 12) == within_abs(100.0, 1e-3));
    SpotPatch unknown = cut(frame);
    WallLight().prepare(unknown);
    CHECK(unknown.counts(6, 20) == 130.0);
  }

  TEST_CASE("in a row with print, too, what is not known stays as it is") {
    cv::Mat frame = even({40, 40}, 100);
    frame.rowRange(20, 23) = 25;
    const cv::Rect unknown_half(0, 0, 14, 40);
    WallLight wall;
    for (int k = 0; k < 8; ++k) wall.learn(frame, unknown_half);
    SpotPatch patch = cut(frame);
    wall.prepare(patch);
    CHECK(patch.reflectance(6, 21) == 1.0);
    CHECK(patch.counts(6, 21) == 25.0);
    CHECK(patch.reflectance(30, 21) == within_abs(0.25, 1e-3));  // single precision, a fit
    CHECK(patch.counts(30, 21) == 25.0);
  }

  TEST_CASE("a patch anywhere in the picture is compared with its own place") {
    cv::Mat frame = even({100, 80}, 50);
    frame.colRange(60, 63) = 90;
    SpotPatch patch = tracker::cut_patch(frame, cv::Rect(50, 30, 30, 24), 250);
    learned(frame).prepare(patch);
    CHECK(patch.counts(11, 5) == within_abs(50.0, 1e-3));  // column 61 of the picture
    CHECK(patch.counts(3, 5) == within_abs(50.0, 1e-3));
  }
}
