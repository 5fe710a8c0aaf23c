#include "calibration/scale/marker_detection.h"

#include <vector>

#include <doctest/doctest.h>
#include <opencv2/aruco.hpp>

#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::within_abs;

struct Placed {
  int id;
  cv::Point corner;  // top left pixel
};

/// Markers of 60 px on white paper; ink and paper in gray values.
cv::Mat page(const std::vector<Placed>& placed, double ink, double paper) {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
  cv::Mat gray(300, 400, CV_8UC1, cv::Scalar(paper));
  for (const Placed& marker : placed) {
    cv::Mat drawn;
    cv::aruco::drawMarker(dictionary, marker.id, 60, drawn, 1);
    drawn.convertTo(gray(cv::Rect(marker.corner, drawn.size())), CV_8U, (paper - ink) / 255.0, ink);
  }
  return gray;
}

const std::vector<Placed> kPlaced{{7, {40, 50}}, {0, {200, 40}}, {96, {290, 180}}};

void check_places(const std::vector<Marker>& markers) {
  REQUIRE(markers.size() == 3);
  CHECK(markers[0].id == 0);
  CHECK(markers[1].id == 7);
  CHECK(markers[2].id == 96);
  // Top left, top right, bottom right, bottom left of what was drawn, within 2 px.
  const double x_px = 200.0;
  const double y_px = 40.0;
  const auto& corners = markers[0].corners;
  CHECK(corners[0].x_px == within_abs(x_px, 2.0));
  CHECK(corners[0].y_px == within_abs(y_px, 2.0));
  CHECK(corners[1].x_px == within_abs(x_px + 60.0, 2.0));
  CHECK(corners[1].y_px == within_abs(y_px, 2.0));
  CHECK(corners[2].x_px == within_abs(x_px + 60.0, 2.0));
  CHECK(corners[2].y_px == within_abs(y_px + 60.0, 2.0));
  CHECK(corners[3].x_px == within_abs(x_px, 2.0));
  CHECK(corners[3].y_px == within_abs(y_px + 60.0, 2.0));
}

}  // namespace

TEST_SUITE_BEGIN("marker_detection");

TEST_CASE("markers come by their number, with their corners in the order of the print") {
  check_places(detect_markers(page(kPlaced, 20.0, 230.0)));
}

TEST_CASE("a dark room leaves a dozen gray values, which are enough") {
  check_places(detect_markers(page(kPlaced, 6.0, 18.0)));
}

TEST_CASE("a lamp and a bright spot in the picture do not hide them") {
  cv::Mat gray = page(kPlaced, 6.0, 40.0);
  cv::Mat lamp = gray(cv::Rect(0, 280, 30, 15));
  lamp = 255;
  check_places(detect_markers(gray));
}

TEST_CASE("noise as strong as a third of the contrast does not hide them") {
  cv::Mat gray = page(kPlaced, 60.0, 120.0);
  cv::Mat noise(gray.size(), CV_16S);
  cv::RNG random(3);
  random.fill(noise, cv::RNG::NORMAL, 0.0, 20.0);
  cv::Mat sum;
  cv::add(gray, noise, sum, cv::noArray(), CV_8U);
  check_places(detect_markers(sum));
}

TEST_CASE("a turned marker keeps the order of its corners") {
  cv::Mat turned;
  cv::rotate(page(kPlaced, 20.0, 230.0), turned, cv::ROTATE_180);
  const auto markers = detect_markers(turned);
  REQUIRE(markers.size() == 3);
  // The top left corner of the print is now bottom right: (399, 299) - (200, 40), about.
  CHECK(markers[0].corners[0].x_px == within_abs(199.0, 2.0));
  CHECK(markers[0].corners[0].y_px == within_abs(259.0, 2.0));
}

TEST_CASE("an even picture and noise hold no markers") {
  CHECK(detect_markers(cv::Mat(200, 200, CV_8UC1, cv::Scalar(90))).empty());
  CHECK(detect_markers(cv::Mat(200, 200, CV_8UC1, cv::Scalar(0))).empty());
  cv::Mat noise(200, 200, CV_8UC1);
  cv::RNG random(4);
  random.fill(noise, cv::RNG::UNIFORM, 0, 256);
  CHECK(detect_markers(noise).empty());
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
