#include "tracker/repeated_wall.h"

#include <random>

#include <doctest/doctest.h>

using nightswing::tracker::RepeatedWall;

namespace {

// Places every 16 px: 20 across, 15 down.
const cv::Size kSize(320, 240);
constexpr int kPlaces = 20 * 15;

/// Of 300 places, `changed` are other in odd frames than in even ones.
cv::Mat frame(int number, int changed) {
  cv::Mat picture(kSize, CV_8UC1, cv::Scalar(90));
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
        CHECK_FALSE(wall.look(cv::Mat(kSize, CV_8UC1, cv::Scalar(counts))));
      }
    }
    RepeatedWall lit;
    static_cast<void>(lit.look(cv::Mat(kSize, CV_8UC1, cv::Scalar(3))));
    CHECK(lit.look(cv::Mat(kSize, CV_8UC1, cv::Scalar(3))));
  }

  TEST_CASE("a picture of few places tells nothing") {
    RepeatedWall wall;
    const cv::Mat small(64, 64, CV_8UC1, cv::Scalar(90));  // 16 places
    for (int k = 0; k < 5; ++k) CHECK_FALSE(wall.look(small));
  }

  TEST_CASE("in a colour frame the green plane decides") {
    std::mt19937 random(3);
    std::uniform_int_distribution<int> some(10, 240);
    const auto picture = [&](bool green_changes) {
      cv::Mat colour(kSize, CV_8UC3);
      for (int y = 0; y < colour.rows; ++y) {
        for (int x = 0; x < colour.cols; ++x) {
          const auto any = [&] { return static_cast<std::uint8_t>(some(random)); };
          colour.at<cv::Vec3b>(y, x) = {any(), green_changes ? any() : std::uint8_t{90}, any()};
        }
      }
      return colour;
    };
    RepeatedWall film;
    RepeatedWall camera;
    bool repeated = false;
    bool camera_repeated = false;
    for (int k = 0; k < 5; ++k) {
      repeated = film.look(picture(false));
      camera_repeated = camera.look(picture(true));
    }
    CHECK(repeated);
    CHECK_FALSE(camera_repeated);
  }
}
