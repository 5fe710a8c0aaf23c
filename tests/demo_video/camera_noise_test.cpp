#include "demo_video/camera_noise.h"

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;
using test::within_rel;

TEST_SUITE("camera_noise") {
  TEST_CASE("the sensor keeps the mean and has the variance of reading, light and rounding") {
    Camera camera;
    camera.read_noise_dn = 0.8;
    camera.electrons_per_dn = 60;
    CameraNoise noise(camera, 3);
    for (const double level : {20.3, 74.0, 180.5}) {
      const cv::Mat picture = noise.expose(cv::Mat(400, 500, CV_32FC3, cv::Scalar::all(level)));
      cv::Scalar mean, deviation;
      cv::meanStdDev(picture.reshape(1), mean, deviation);
      // Poisson: variance in electrons = their number; rounding adds 1/12 DN^2.
      const double variance = 0.64 + level / 60 + 1.0 / 12;
      CHECK(mean[0] == within_abs(level, 0.01));  // 5 sd of the mean of 600 000 values
      CHECK(deviation[0] * deviation[0] == within_rel(variance, 0.01));  // 5 sd
    }
  }

  TEST_CASE("light beyond the range is clipped at 0 and 255") {
    CameraNoise noise(Camera{}, 3);
    const cv::Mat bright = noise.expose(cv::Mat(50, 50, CV_32FC3, cv::Scalar::all(400)));
    CHECK(cv::countNonZero(bright.reshape(1) != 255) == 0);
    const cv::Mat dark = noise.expose(cv::Mat(50, 50, CV_32FC3, cv::Scalar::all(0)));
    CHECK(cv::countNonZero(dark.reshape(1)) < 50 * 50 * 3);
    CHECK(cv::countNonZero(dark.reshape(1) > 8) == 0);
  }

  TEST_CASE("the same seed gives the same picture, another seed another") {
    const cv::Mat light(20, 30, CV_32FC3, cv::Scalar::all(90));
    const cv::Mat one = CameraNoise(Camera{}, 3).expose(light);
    const cv::Mat same = CameraNoise(Camera{}, 3).expose(light);
    const cv::Mat other = CameraNoise(Camera{}, 4).expose(light);
    CHECK(cv::countNonZero((one != same).operator cv::Mat().reshape(1)) == 0);
    CHECK(cv::countNonZero((one != other).operator cv::Mat().reshape(1)) > 100);
  }
}

}  // namespace
}  // namespace nightswing::demo
