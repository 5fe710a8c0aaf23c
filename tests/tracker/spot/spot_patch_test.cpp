#include "tracker/spot/spot_patch.h"

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing;
using test::within_abs;
using tracker::SpotPatch;

namespace {

/// A picture whose counts say where they are: 10 row + column.
cv::Mat numbered() {
  cv::Mat picture(8, 9, CV_8UC1);
  for (int row = 0; row < picture.rows; ++row) {
    for (int column = 0; column < picture.cols; ++column) {
      picture.at<std::uint8_t>(row, column) = static_cast<std::uint8_t>(10 * row + column);
    }
  }
  return picture;
}

cv::Rect whole(const cv::Mat& picture) {
  return {cv::Point(0, 0), picture.size()};
}

}  // namespace

TEST_SUITE("spot_patch") {
  TEST_CASE("a patch holds the counts of its rectangle, column by row") {
    const SpotPatch patch = tracker::cut_patch(numbered(), cv::Rect(2, 3, 5, 4), 250);
    CHECK(patch.left_px == 2);
    CHECK(patch.top_px == 3);
    REQUIRE(patch.columns() == 5);
    REQUIRE(patch.rows() == 4);
    CHECK(patch.counts(0, 0) == 32.0);
    CHECK(patch.counts(4, 0) == 36.0);
    CHECK(patch.counts(0, 3) == 62.0);
    CHECK(patch.reflectance.minCoeff() == 1.0);
    CHECK(patch.reflectance.maxCoeff() == 1.0);
    CHECK(patch.at_least.maxCoeff() == 0.0);
  }

  TEST_CASE("of a film too, a pixel is a lower bound where one of its colours is saturated") {
    // Full range, colours as fine as luma: a red of 230 = 76 + 1.402 * 110, rounded, on gray.
    tracker::FilmPlanes planes;
    planes.full_range = true;
    planes.columns_each = planes.rows_each = 1;
    planes.first_y_px = 0.0;
    planes.luma = cv::Mat(20, 20, CV_8UC1, cv::Scalar(40));
    planes.blue = cv::Mat(20, 20, CV_8UC1, cv::Scalar(128));
    planes.red = planes.blue.clone();
    const cv::Rect lit(8, 9, 3, 2);
    planes.luma(lit) = 76;
    planes.red(lit) = 238;
    const tracker::Picture picture(planes);
    REQUIRE(picture.bgr(lit).at<cv::Vec3b>(0, 0)[2] == 230);
    const SpotPatch patch = tracker::cut_patch(picture, picture.area(), 230);
    CHECK(patch.at_least.sum() == 6.0);
    CHECK(patch.at_least(8, 9) == 1.0);
    CHECK(patch.at_least(10, 10) == 1.0);
    CHECK(tracker::cut_patch(picture, picture.area(), 231).at_least.sum() == 0.0);
  }

  TEST_CASE("a pixel is a lower bound where one colour alone is saturated") {
    cv::Mat frame(20, 20, CV_8UC3, cv::Scalar(20, 20, 20));
    frame.at<cv::Vec3b>(10, 10) = {20, 20, 252};
    const SpotPatch patch = tracker::cut_patch(frame, whole(frame), 250);
    CHECK(patch.at_least(10, 10) == 1.0);
    CHECK(patch.at_least.sum() == 1.0);
    CHECK(tracker::cut_patch(frame, whole(frame), 253).at_least.sum() == 0.0);
  }

  TEST_CASE("as bright a pixel beside a saturated one is a lower bound too, but not farther away") {
    cv::Mat frame(20, 20, CV_8UC1, cv::Scalar(30));
    frame.at<std::uint8_t>(10, 10) = 255;
    frame.at<std::uint8_t>(10, 12) = 249;  // 2 px away, as bright within 6 counts
    frame.at<std::uint8_t>(12, 10) = 240;  // near, but dimmer
    frame.at<std::uint8_t>(10, 7) = 249;   // 3 px away
    const SpotPatch patch = tracker::cut_patch(frame, whole(frame), 250);
    CHECK(patch.at_least(10, 10) == 1.0);
    CHECK(patch.at_least(12, 10) == 1.0);
    CHECK(patch.at_least(10, 12) == 0.0);
    CHECK(patch.at_least(7, 10) == 0.0);
    CHECK(patch.at_least.sum() == 2.0);
  }

  TEST_CASE("merged pixels have the means of those that they are made of") {
    SpotPatch patch = tracker::cut_patch(numbered(), cv::Rect(2, 3, 5, 4), 250);
    patch.at_least(3, 2) = 1.0;
    patch.reflectance(0, 0) = 0.2;
    patch.reflectance(4, 0) = 0.0;  // in the odd last column, which is left out
    const SpotPatch half = tracker::merged(patch, 2);
    CHECK(half.merged == 2);
    CHECK(half.left_px == 0);
    CHECK(half.top_px == 0);
    REQUIRE(half.columns() == 2);
    REQUIRE(half.rows() == 2);
    CHECK(half.counts(0, 0) == within_abs((32 + 33 + 42 + 43) / 4.0, 1e-12));
    CHECK(half.counts(1, 1) == within_abs((54 + 55 + 64 + 65) / 4.0, 1e-12));
    CHECK(half.reflectance(0, 0) == within_abs(0.8, 1e-12));
    CHECK(half.reflectance(1, 0) == 1.0);
    CHECK(half.at_least(1, 1) == 1.0);
    CHECK(half.at_least.sum() == 1.0);
    const SpotPatch third = tracker::merged(tracker::cut_patch(numbered(), {0, 1, 7, 6}, 250), 3);
    REQUIRE(third.columns() == 2);
    REQUIRE(third.rows() == 2);
    CHECK(third.counts(1, 1) == within_abs(54.0, 1e-12));  // the middle one of the nine
  }

  TEST_CASE("a square around a place is cut at the border of the picture") {
    const cv::Size frame(100, 50);
    CHECK(tracker::square_around(40.4, 20.6, 3, frame) == cv::Rect(37, 18, 7, 7));
    CHECK(tracker::square_around(1.0, 48.0, 3, frame) == cv::Rect(0, 45, 5, 5));
    CHECK(tracker::square_around(200.0, 20.0, 3, frame).empty());
    CHECK(tracker::square_around(-1e300, 1e300, 3, frame).empty());
  }
}
