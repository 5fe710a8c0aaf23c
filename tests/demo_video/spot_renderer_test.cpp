#include "demo_video/spot_renderer.h"

#include <cmath>
#include <numbers>

#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;
using test::within_rel;

struct Moments {
  double sum;
  double x_px;
  double y_px;
  double variance_x_px2;
};

Moments moments_of(const cv::Mat& picture, int plane) {
  double sum = 0, x = 0, y = 0, xx = 0;
  for (int row = 0; row < picture.rows; ++row) {
    for (int column = 0; column < picture.cols; ++column) {
      const double light = static_cast<double>(picture.at<cv::Vec3f>(row, column)[plane]);
      sum += light;
      x += light * column;
      y += light * row;
      xx += light * column * column;
    }
  }
  return {sum, x / sum, y / sum, xx / sum - x / sum * x / sum};
}

// Centre of mass of a Gaussian averaged over pixels, by the Poisson sum formula: only the first
// harmonic of the pixel lattice counts, 2e-5 px at sigma = 0.7 px and nothing at the spot's 5 px.
double sampled_centre_px(double centre_px, double sigma_px) {
  using std::numbers::pi;
  return centre_px -
         std::sin(2 * pi * centre_px) / pi * std::exp(-2 * pi * pi * sigma_px * sigma_px);
}

TEST_SUITE("spot_renderer") {
  TEST_CASE("the centre of mass of a spot is its centre at every phase of the pixel") {
    for (const double sigma_px : {0.7, 2.5, 5.0}) {
      for (int i = 0; i < 10; ++i) {
        const PixelPlace centre{40 + i / 10.0, 37.3 - i / 10.0};
        cv::Mat picture(80, 80, CV_32FC3, cv::Scalar(0, 0, 0));
        add_blot(picture, {centre, sigma_px, 1.2 * sigma_px, {0, 0, 200}});
        const Moments moments = moments_of(picture, 2);
        // What lies beyond 6 sigma weighs 1e-8; single precision adds 1e-6.
        CHECK(moments.x_px == within_abs(sampled_centre_px(centre.x_px, sigma_px), 2e-6));
        CHECK(moments.y_px == within_abs(sampled_centre_px(centre.y_px, 1.2 * sigma_px), 2e-6));
      }
    }
  }

  TEST_CASE("the light of a spot is that of the Gaussian, and a pixel widens it by 1/12") {
    cv::Mat picture(80, 80, CV_32FC3, cv::Scalar(0, 0, 0));
    add_blot(picture, {{40.2, 39.9}, 3.0, 2.5, {0, 0, 100}});
    const Moments moments = moments_of(picture, 2);
    CHECK(moments.sum == within_rel(2 * std::numbers::pi * 3.0 * 2.5 * 100, 1e-6));
    CHECK(moments.variance_x_px2 == within_abs(9 + 1.0 / 12, 1e-4));
  }

  TEST_CASE("a spot over the edge of the picture is cut, not wrapped") {
    cv::Mat picture(40, 40, CV_32FC3, cv::Scalar(0, 0, 0));
    add_blot(picture, {{-0.5, 20}, 2.0, 2.0, {0, 0, 100}});
    // Half of the light falls outside.
    CHECK(moments_of(picture, 2).sum == within_rel(std::numbers::pi * 4 * 100, 1e-6));
    CHECK(picture.at<cv::Vec3f>(20, 39)[2] == 0);
    add_blot(picture, {{-100, 20}, 2.0, 2.0, {0, 0, 100}});  // nothing to draw is no fault
  }

  TEST_CASE("the spot with its halo stands where the wall says, in all planes") {
    const NightSettings settings;
    const CameraView view(settings.camera);
    cv::Mat picture(720, 1280, CV_32FC3, cv::Scalar(0, 0, 0));
    const WallPlace place{301.7, 35.4};
    add_spot(picture, view, settings.spot, place);
    const PixelPlace expected = view.pixel_from_wall(place);
    for (int plane = 0; plane < 3; ++plane) {
      const Moments moments = moments_of(picture, plane);
      CHECK(moments.x_px == within_abs(expected.x_px, 1e-4));  // single precision at 800 px
      CHECK(moments.y_px == within_abs(expected.y_px, 1e-4));
    }
  }

  TEST_CASE("the default spot is clipped over less than 40 percent of what can be seen of it") {
    const NightSettings settings;
    const CameraView view(settings.camera);
    cv::Mat picture(720, 1280, CV_32FC3, cv::Scalar(74, 74, 74));
    add_spot(picture, view, settings.spot, {300, 35});
    int clipped = 0, visible = 0;
    for (auto pixel = picture.begin<cv::Vec3f>(); pixel != picture.end<cv::Vec3f>(); ++pixel) {
      clipped += (*pixel)[2] >= 255 ? 1 : 0;
      visible += (*pixel)[2] >= 74 + 4 ? 1 : 0;  // three times the noise of the wall
    }
    CHECK(clipped > 30);
    CHECK(clipped < 0.4 * visible);
  }

  TEST_CASE("a fixed reflection is drawn only when it is asked for") {
    NightSettings settings;
    const CameraView view(settings.camera);
    cv::Mat picture(720, 1280, CV_32FC3, cv::Scalar(0, 0, 0));
    add_reflection(picture, view, settings.spot);
    CHECK(cv::countNonZero(picture.reshape(1)) == 0);
    settings.spot.reflection_share = 0.2;
    add_reflection(picture, view, settings.spot);
    const PixelPlace expected = view.pixel_from_wall({150, 37});
    CHECK(moments_of(picture, 2).x_px == within_abs(expected.x_px, 1e-4));
  }
}

}  // namespace
}  // namespace nightswing::demo
