// What is said of a picture while the camera is set up.
#include "tracker/aim/aim_reading.h"

#include <chrono>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"
#include "tracker/aim/aim_picture.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

const cv::Size kSize{1280, 720};

/// A dim scale on the wall, with a spot of light in its blank lane.
cv::Mat wall_with_spot(double peak, double blur_px = 0.8, double spot_x_px = 640.0) {
  CameraPose pose;
  pose.distance_mm = 330.0;
  RenderOptions options{.size = kSize, .blur_px = blur_px};
  options.paper_dn = 60.0;
  options.wall_dn = 40.0;
  options.ink_dn = 12.0;
  if (peak > 0.0) options.lights = {{{spot_x_px, 330.0}, 4.0, peak}};
  cv::Mat colour;
  cv::cvtColor(
      render_scale(pixel_from_wall_matrix(pose, kSize), options), colour, cv::COLOR_GRAY2BGR);
  return colour;
}

bool says(const AimReading& reading, const std::string& part) {
  for (const std::string& advice : reading.advice) {
    if (advice.find(part) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_SUITE("aim_reading") {
  TEST_CASE("spot, scale, millimetres per pixel and the uncertainty of a reading are told") {
    AimObserver observer({});
    const cv::Mat picture = wall_with_spot(120.0);
    AimReading reading;
    double now_s = 0.0;
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    while (!(reading.mm_per_px && is_measured(reading.spot.state)) &&
           std::chrono::steady_clock::now() < end) {
      reading = observer.see(picture, now_s);
      now_s += 0.1;
    }
    REQUIRE(reading.spot.position);
    CHECK(reading.spot.position->x_px == within_abs(640.0, 0.3));  // noise of 2 counts
    CHECK(reading.spot.position->y_px == within_abs(330.0, 0.3));
    REQUIRE(reading.mm_per_px);
    // A pinhole of 1100 px at 330 mm: 330/1100 = 0.3 mm for a pixel.
    CHECK(*reading.mm_per_px == within_rel(0.3, 2e-3));
    REQUIRE(reading.reading_u_mm);
    CHECK(*reading.reading_u_mm ==
          within_rel(0.3 * std::max(reading.spot.position->u_x_px, reading.spot.position->u_y_px),
                     2e-3));
    REQUIRE(reading.room);
    CHECK(reading.room->left_px ==
          within_abs(reading.spot.position->x_px - 4.0 * reading.spot.position->width_px, 1e-9));
    CHECK(reading.room->right_px == within_abs(1279.0 - 640.0 - 16.0, 2.0));
    CHECK(reading.advice.empty());
    CHECK(text_of(reading).find("0.300 mm/px") != std::string::npos);
    const cv::Mat shown = aim_picture(picture, reading);
    CHECK(shown.cols == picture.cols);
    CHECK(shown.rows > picture.rows);
    CHECK(cv::norm(shown(cv::Rect(0, 0, 200, 200)),
                   picture(cv::Rect(0, 0, 200, 200)),
                   cv::NORM_INF) == 0.0);
  }

  TEST_CASE("advice is given in words") {
    AimReading reading;
    reading.mm_per_px = 0.3;
    reading.spot = {SpotState::kClipped, SpotPosition{600.0, 300.0, 0.02, 0.02, 300.0, 4.0}};
    reading.room = room_of(*reading.spot.position, kSize);
    reading.advice = advice_for(reading);
    CHECK(says(reading, "core clipped: lower the exposure"));
    reading.spot = {SpotState::kFound, SpotPosition{30.0, 300.0, 0.02, 0.02, 20.0, 1.0}};
    reading.room = room_of(*reading.spot.position, kSize);
    reading.advice = advice_for(reading);
    CHECK(says(reading, "the spot is weak: raise the exposure"));
    CHECK(says(reading, "narrower than 1.5 px"));
    CHECK(says(reading, "near the border"));
    reading.spot = {SpotState::kLost, std::nullopt};
    reading.room.reset();
    reading.mm_per_px.reset();
    reading.scale = "no scale in view";
    reading.sharpness = 0.3;
    reading.advice = advice_for(reading);
    CHECK(says(reading, "no spot"));
    CHECK(says(reading, "no scale in view"));
    CHECK(says(reading, "turn the focus back"));
    reading.spot.state = SpotState::kDark;
    reading.advice = advice_for(reading);
    CHECK(says(reading, "dark: raise the exposure"));
  }

  TEST_CASE("sharpness falls with blur and does not mind the light") {
    const Picture sharp(wall_with_spot(0.0, 0.6));
    const Picture soft(wall_with_spot(0.0, 2.0));
    const double best = sharpness_of(sharp, {});
    CHECK(sharpness_of(soft, {}) < 0.5 * best);
    const cv::Mat darker = wall_with_spot(0.0, 0.6) * 0.7;
    CHECK(sharpness_of(Picture(darker), {}) == within_rel(best, 0.1));  // rounding to counts
    CHECK(sharpness_of(Picture(cv::Mat(50, 50, CV_8UC3, cv::Scalar::all(9))), {}) == 0.0);
  }

  TEST_CASE("a scale that was being read when the camera was turned is not that of the new view") {
    AimObserver observer({});
    const cv::Mat picture = wall_with_spot(120.0);
    const cv::Mat other(kSize, CV_8UC3, cv::Scalar::all(110));
    for (int k = 0; k < 8; ++k) static_cast<void>(observer.see(picture, 0.1 * k));
    AimReading reading = observer.see(other, 1.0);
    // Until the new view itself has been read: it holds no scale.
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    while (reading.scale == "the scale is being read" && std::chrono::steady_clock::now() < end) {
      reading = observer.see(other, 1.0);
      REQUIRE_FALSE(reading.mm_per_px);
    }
    CHECK(reading.scale != "the scale is being read");
  }

  TEST_CASE("a camera that is turned is a new view") {
    AimObserver observer({});
    for (int k = 0; k < 10; ++k) {
      static_cast<void>(observer.see(wall_with_spot(120.0, 0.6), 0.1 * k));
    }
    const cv::Mat blurred = wall_with_spot(120.0, 2.5);
    CHECK(observer.see(blurred, 2.0).sharpness < 0.6);
    const cv::Mat other(kSize, CV_8UC3, cv::Scalar::all(110));
    CHECK(observer.see(other, 2.1).mm_per_px == std::nullopt);
    CHECK(observer.see(blurred, 2.2).sharpness == within_abs(1.0, 1e-12));  // the best of this view
  }
}
