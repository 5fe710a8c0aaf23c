#include "demo_video/wall_film.h"

#include <cmath>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "demo_video/camera_mount.h"
#include "demo_video/wall_renderer.h"

namespace nightswing::demo {
namespace {

NightSettings small_night() {
  NightSettings night;
  night.camera.width_px = 320;
  night.camera.height_px = 180;
  return night;
}

cv::Mat green_of(const cv::Mat& picture) {
  cv::Mat green;
  cv::extractChannel(picture, green, 1);
  return green;
}

TEST_SUITE("wall_film") {
  TEST_CASE("a camera that stands still sees the same wall, bit by bit, all night") {
    const NightSettings night = small_night();
    const cv::Mat wall = render_wall(night, CameraView(night.camera));
    WallFilm film(night);
    for (const double t_s : {0.0, 7000.0}) {
      CHECK(cv::norm(film.light_at(t_s), wall, cv::NORM_INF) == 0);
    }
  }

  TEST_CASE("between two exact pictures the wall is where an exact one has it") {
    NightSettings night = small_night();
    night.mount.creep_px = 1.0;
    WallFilm film(night);
    for (const double t_s : {400.0, 5000.0, 12000.0}) {
      CAPTURE(t_s);
      const cv::Mat exact = green_of(render_wall(night, view_at(night, t_s)));
      const cv::Mat mixed = green_of(film.light_at(t_s));
      // A displacement d changes the picture by -d times its slope: least squares for d.
      for (const bool along_x : {true, false}) {
        cv::Mat slope;
        cv::Sobel(exact, slope, CV_32F, along_x ? 1 : 0, along_x ? 0 : 1, 3, 0.125);
        const double shift_px = -slope.dot(mixed - exact) / slope.dot(slope);
        // 2e-4 by the header for detail of a pixel; sampling a pixel by 89 points adds as much
        CHECK(std::abs(shift_px) < 1e-3);
      }
      // A pixel that an edge of 67 counts enters between the two is off by d/4 of that at most; a
      // tick has two edges.
      CHECK(cv::norm(mixed, exact, cv::NORM_INF) < 2 * 67 * 0.25 / 4);
    }
  }

  TEST_CASE("the knock is in the picture from its moment on") {
    NightSettings night = small_night();
    night.mount.bump_px = 3;
    night.mount.bump_at_s = 1000;
    WallFilm film(night);
    const cv::Mat before = film.light_at(995);
    const cv::Mat after = film.light_at(1000);
    CHECK(cv::norm(before, render_wall(night, CameraView(night.camera)), cv::NORM_INF) == 0);
    CHECK(cv::norm(after, render_wall(night, view_at(night, 1000)), cv::NORM_INF) == 0);
    CHECK(cv::norm(before, after, cv::NORM_INF) > 20);
  }
}

}  // namespace
}  // namespace nightswing::demo
