#include "tracker/spot/repeated_wall.h"

#include <doctest/doctest.h>

#include "tests/tracker/spot/usual_pictures.h"

using nightswing::test::kPictureSize;
using nightswing::tracker::RepeatedWall;

namespace {

// Every 16 px: 20 across, 15 down.
constexpr int kPlaces = 20 * 15;

/// Of 300 places, `changed` are other in odd frames than in even ones.
cv::Mat frame(int number, int changed) {
  cv::Mat picture(kPictureSize, CV_8UC1, cv::Scalar(90));
  if (number % 2 == 0) return picture;
  for (int k = 0; k < changed; ++k) {
    picture(cv::Rect(16 * (k % 20), 16 * (k / 20), 16, 16)) = 91;
  }
  return picture;
}

bool after_looks(RepeatedWall& wall, int looks, int changed) {
  bool repeated = false;
  for (int k = 0; k < looks; ++k) repeated = wall.look(frame(k, changed));
  return repeated;
}

}  // namespace

TEST_SUITE("repeated_wall") {
  TEST_CASE("a wall of which more than 7 in 10 places stay exactly is lossy film") {
    RepeatedWall film;
    CHECK(after_looks(film, 30, kPlaces * 29 / 100));  // 71 % stay
    RepeatedWall camera;
    CHECK_FALSE(after_looks(camera, 30, kPlaces * 31 / 100));  // 69 % stay
  }

  TEST_CASE("nothing is said after one frame") {
    RepeatedWall wall;
    CHECK_FALSE(wall.look(frame(0, 0)));
    CHECK(wall.look(frame(0, 0)));
  }

  TEST_CASE("some still frames among those of a camera do not make it lossy film") {
    RepeatedWall camera;
    CHECK_FALSE(after_looks(camera, 30, kPlaces));
    // The mean of 20 looks reaches 0.7 with ln(0.3) / ln(19/20) = 23.5 further looks.
    for (int k = 0; k < 23; ++k) CHECK_FALSE(camera.look(frame(1, kPlaces)));
    for (int k = 0; k < 3; ++k) static_cast<void>(camera.look(frame(1, kPlaces)));
    CHECK(camera.look(frame(1, kPlaces)));
  }

  TEST_CASE("black and saturated places tell nothing") {
    for (const int counts : {0, 2, 251, 255}) {
      CAPTURE(counts);
      RepeatedWall wall;
      for (int k = 0; k < 10; ++k) {
        CHECK_FALSE(wall.look(cv::Mat(kPictureSize, CV_8UC1, cv::Scalar(counts))));
      }
    }
    RepeatedWall lit;
    static_cast<void>(lit.look(cv::Mat(kPictureSize, CV_8UC1, cv::Scalar(3))));
    CHECK(lit.look(cv::Mat(kPictureSize, CV_8UC1, cv::Scalar(3))));
  }

  TEST_CASE("a picture of few places tells nothing") {
    RepeatedWall wall;
    const cv::Mat small(64, 64, CV_8UC1, cv::Scalar(90));  // 16 places
    for (int k = 0; k < 5; ++k) CHECK_FALSE(wall.look(small));
  }

  TEST_CASE("in a colour frame luma decides") {
    const auto picture = [](int number, bool luma_changes) {
      cv::Mat colour(kPictureSize, CV_8UC3, cv::Scalar(90, 90, 90));
      if (number % 2 == 0) return colour;
      // 20 red less and 10 green more change luma, 0.299 red + 0.587 green, by 0.1 only.
      colour.setTo(luma_changes ? cv::Scalar(90, 100, 90) : cv::Scalar(90, 100, 70));
      return colour;
    };
    RepeatedWall film;
    RepeatedWall camera;
    bool repeated = false;
    bool camera_repeated = false;
    for (int k = 0; k < 5; ++k) {
      repeated = film.look(picture(k, false));
      camera_repeated = camera.look(picture(k, true));
    }
    CHECK(repeated);
    CHECK_FALSE(camera_repeated);
  }
}
