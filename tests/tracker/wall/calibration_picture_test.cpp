#include "tracker/wall/calibration_picture.h"

#include <vector>

#include <doctest/doctest.h>

using namespace nightswing::tracker;
namespace calibration = nightswing::calibration;

namespace {

constexpr double kX_px = 600.0;
constexpr double kY_px = 400.0;

/// Four corners and one point that is off by (3, 0) px.
calibration::WallMap map_with_one_error() {
  calibration::WallMap map =
      calibration::fit_plane_map(
          std::vector<calibration::ReferencePoint>{{{100.0, 200.0}, {0.0, 50.0}, 0.5},
                                                   {{1100.0, 200.0}, {250.0, 50.0}, 0.5},
                                                   {{100.0, 600.0}, {0.0, -50.0}, 0.5},
                                                   {{1100.0, 600.0}, {250.0, -50.0}, 0.5},
                                                   {{kX_px, kY_px}, {125.0, 0.0}, 0.5}},
          {1280, 720})
          .map;
  map.references[4].residual_x_px = 3.0;
  return map;
}

bool is_orange(const cv::Vec3b& p) {
  return p[2] > 150 && p[0] < 80;
}

}  // namespace

TEST_SUITE("calibration_picture") {
  TEST_CASE("a residual is drawn ten times enlarged from its point") {
    const cv::Mat picture(720, 1280, CV_8UC1, cv::Scalar(128));
    const cv::Mat drawn = calibration_picture(picture, map_with_one_error());
    REQUIRE(drawn.type() == CV_8UC3);
    const int row = static_cast<int>(kY_px);
    int last = 0;
    for (int column = 610; column < 700; ++column) {
      if (is_orange(drawn.at<cv::Vec3b>(row, column))) last = column;
    }
    // 600 + 10 x 3 px, and half the width of the stroke with its smooth edge.
    CHECK(last >= 629);
    CHECK(last <= 632);
  }

  TEST_CASE("the axis runs where the map has y = 0, and the picture itself stays as it was") {
    const cv::Mat picture(720, 1280, CV_8UC3, cv::Scalar(128, 128, 128));
    const cv::Mat drawn = calibration_picture(picture, map_with_one_error());
    // y = 0 lies at the middle of the two rows of points: 400 px; a number stands every 80 px.
    CHECK(drawn.at<cv::Vec3b>(400, 300)[2] < 60);  // green: hardly any red
    CHECK(drawn.at<cv::Vec3b>(410, 300) == cv::Vec3b(128, 128, 128));
    CHECK(cv::countNonZero(picture.reshape(1) != 128) == 0);
  }

  TEST_CASE("a map without references leaves the picture alone") {
    const cv::Mat picture(72, 128, CV_8UC3, cv::Scalar(1, 2, 3));
    CHECK(cv::norm(calibration_picture(picture, {}), picture, cv::NORM_INF) == 0.0);
  }
}
