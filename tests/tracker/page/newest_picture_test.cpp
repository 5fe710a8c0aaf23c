#include "tracker/page/newest_picture.h"

#include <doctest/doctest.h>
#include <opencv2/imgcodecs.hpp>

using namespace nightswing::tracker;

namespace {

cv::Mat decoded(const std::string& jpeg) {
  return cv::imdecode(std::vector<unsigned char>(jpeg.begin(), jpeg.end()), cv::IMREAD_COLOR);
}

SeenPicture seen(long number, double gray, cv::Size size = {320, 240}) {
  return {.picture = cv::Mat(size, CV_8UC3, cv::Scalar::all(gray)), .number = number};
}

}  // namespace

TEST_SUITE("newest picture") {
  const std::chrono::steady_clock::time_point start{};

  TEST_CASE("before the first picture there is none") {
    CHECK(NewestPicture().jpeg({}, start).empty());
  }

  TEST_CASE("it is made once a second at most, and not again of the same picture") {
    NewestPicture newest;
    const std::string first = newest.jpeg(seen(1, 50.0), start + std::chrono::hours(1));
    CHECK(decoded(first).at<cv::Vec3b>(10, 10)[0] == 50);
    CHECK(newest.jpeg(seen(2, 200.0), start + std::chrono::milliseconds(3'600'999)) == first);
    const auto later = start + std::chrono::milliseconds(3'601'000);
    CHECK(newest.jpeg(seen(1, 200.0), later) == first);
    CHECK(decoded(newest.jpeg(seen(2, 200.0), later)).at<cv::Vec3b>(10, 10)[0] == 200);
  }

  TEST_CASE("a ring marks the spot, and the picture itself is left as it is") {
    SeenPicture picture = seen(1, 50.0);
    picture.spot = {SpotState::kFound, SpotPosition{100.0, 120.0, 0.1, 0.1, 100.0, 4.0}};
    const cv::Mat before = picture.picture.clone();
    const cv::Mat shown = decoded(NewestPicture().jpeg(picture, start));
    CHECK(cv::norm(picture.picture, before, cv::NORM_INF) == 0.0);
    cv::Mat difference;
    cv::absdiff(shown, before, difference);
    CHECK(cv::norm(difference(cv::Rect(70, 90, 60, 60)), cv::NORM_INF) > 50.0);
    CHECK(cv::norm(difference(cv::Rect(200, 0, 100, 240)), cv::NORM_INF) < 10.0);  // JPEG's own
  }

  TEST_CASE("a large picture is made as wide as a screen") {
    const cv::Mat shown = decoded(NewestPicture().jpeg(seen(1, 50.0, {3840, 2160}), start));
    CHECK(shown.size() == cv::Size(1280, 720));
  }
}
