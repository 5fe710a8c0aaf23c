#include "calibration/motion/coarse_registration.h"

#include <cmath>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::within_abs;

const cv::Size kSize(640, 480);
const cv::Mat kNothing = cv::Mat::zeros(kSize, CV_8UC1);

/// A wall with blots of some 10 px all over, larger than the picture.
cv::Mat blotted_wall(std::uint64_t seed) {
  cv::Mat wall(kSize.height + 200, kSize.width + 200, CV_32F);
  cv::RNG random(seed);
  random.fill(wall, cv::RNG::NORMAL, 0.0, 1.0);
  cv::GaussianBlur(wall, wall, {}, 5.0);
  cv::Scalar mean;
  cv::Scalar deviation;
  cv::meanStdDev(wall, mean, deviation);
  wall = 120.0 + 30.0 / deviation[0] * wall;
  return wall;
}

/// What the camera sees after `motion`; drawn by going back from each pixel.
cv::Mat seen(const cv::Mat& wall, const CameraMotion& motion) {
  const PixelPoint centre{0.5 * (kSize.width - 1), 0.5 * (kSize.height - 1)};
  cv::Mat map_x(kSize, CV_32F);
  cv::Mat map_y(kSize, CV_32F);
  const double c = std::cos(motion.rotation_rad);
  const double s = std::sin(motion.rotation_rad);
  for (int y = 0; y < kSize.height; ++y) {
    for (int x = 0; x < kSize.width; ++x) {
      // now = centre + zoom R r + shift, R from x towards y.
      const double dx = (x - centre.x_px - motion.shift_x_px) / motion.zoom;
      const double dy = (y - centre.y_px - motion.shift_y_px) / motion.zoom;
      map_x.at<float>(y, x) = static_cast<float>(100.0 + centre.x_px + c * dx + s * dy);
      map_y.at<float>(y, x) = static_cast<float>(100.0 + centre.y_px - s * dx + c * dy);
    }
  }
  cv::Mat picture;
  cv::remap(wall, picture, map_x, map_y, cv::INTER_LINEAR);
  picture.convertTo(picture, CV_8U);
  return picture;
}

}  // namespace

TEST_SUITE_BEGIN("coarse_registration");

TEST_CASE("a knock of some per cent of the picture and some degrees is found") {
  const cv::Mat wall = blotted_wall(1);
  const CoarseRegistration registration(seen(wall, {}), kNothing);
  for (const CameraMotion& truth :
       {CameraMotion{},
        CameraMotion{.shift_x_px = 25.0, .shift_y_px = -12.0},
        CameraMotion{.shift_x_px = -8.0, .shift_y_px = 10.0, .rotation_rad = 0.05},
        CameraMotion{.shift_x_px = 5.0, .shift_y_px = 4.0, .rotation_rad = -0.03, .zoom = 1.03}}) {
    CAPTURE(truth.shift_x_px);
    const auto found = registration.find(seen(wall, truth));
    REQUIRE(found);
    // Blocks are placed to a pixel of the halved picture, and many of them are averaged.
    CHECK(found->shift_x_px == within_abs(truth.shift_x_px, 1.5));
    CHECK(found->shift_y_px == within_abs(truth.shift_y_px, 1.5));
    // The same at the border, 300 px from the middle.
    CHECK(found->rotation_rad == within_abs(truth.rotation_rad, 1.5 / 300.0));
    CHECK(found->zoom == within_abs(truth.zoom, 1.5 / 300.0));
    CHECK(found->keystone_x_per_px == 0.0);
  }
}

TEST_CASE("a colour picture is registered by its luma") {
  const cv::Mat wall = blotted_wall(2);
  cv::Mat reference;
  cv::Mat later;
  cv::cvtColor(seen(wall, {}), reference, cv::COLOR_GRAY2BGR);
  cv::cvtColor(seen(wall, {.shift_x_px = 14.0}), later, cv::COLOR_GRAY2BGR);
  const auto found = CoarseRegistration(reference, kNothing).find(later);
  REQUIRE(found);
  CHECK(found->shift_x_px == within_abs(14.0, 1.5));
}

TEST_CASE("somebody in half of the picture does not pull the result") {
  const cv::Mat wall = blotted_wall(3);
  cv::Mat later = seen(wall, {.shift_x_px = 16.0, .shift_y_px = 6.0});
  seen(blotted_wall(4), {}).colRange(0, 320).copyTo(later.colRange(0, 320));
  const auto found = CoarseRegistration(seen(wall, {}), kNothing).find(later);
  REQUIRE(found);
  CHECK(found->shift_x_px == within_abs(16.0, 2.0));
  CHECK(found->shift_y_px == within_abs(6.0, 2.0));
}

TEST_CASE("another wall, a dark one and one without texture give nothing") {
  const cv::Mat reference = seen(blotted_wall(5), {});
  const CoarseRegistration registration(reference, kNothing);
  CHECK_FALSE(registration.find(seen(blotted_wall(6), {})));
  CHECK_FALSE(registration.find(cv::Mat::zeros(kSize, CV_8UC1)));
  const cv::Mat plain(kSize, CV_8UC1, cv::Scalar(120));
  CHECK_FALSE(CoarseRegistration(plain, kNothing).find(plain));
}

TEST_CASE("what may move is not looked for") {
  const cv::Mat reference = seen(blotted_wall(7), {});
  const cv::Mat everything(kSize, CV_8UC1, cv::Scalar(255));
  CHECK_FALSE(CoarseRegistration(reference, everything).find(reference));
  cv::Mat left = kNothing.clone();
  left.colRange(0, 320) = 255;
  // Were the left half used, its shift would have as many blocks as the right one's.
  cv::Mat later = reference.clone();
  cv::Mat shifted;
  const cv::Mat shift = (cv::Mat_<double>(2, 3) << 1, 0, 24, 0, 1, 0);
  cv::warpAffine(reference, shifted, shift, kSize);
  shifted.colRange(0, 330).copyTo(later.colRange(0, 330));
  const auto found = CoarseRegistration(reference, left).find(later);
  REQUIRE(found);
  CHECK(found->shift_x_px == within_abs(0.0, 1.0));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
