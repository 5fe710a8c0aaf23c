#include "demo_video/wall_renderer.h"

#include <algorithm>
#include <cmath>
#include <set>

#include <opencv2/aruco.hpp>
#include <opencv2/imgproc.hpp>

#include "demo_video/camera_noise.h"
#include "demo_video/printed_scale.h"
#include "tests/support/near.h"

namespace nightswing::demo {
namespace {

using test::within_abs;

NightSettings plain_night() {
  NightSettings settings;
  settings.wall.texture_contrast = 0;
  return settings;
}

struct Scene {
  NightSettings settings;
  CameraView view;
  cv::Mat wall;
};

const Scene& plain_scene() {
  static const NightSettings settings = plain_night();
  static const Scene scene{
      settings, CameraView(settings.camera), render_wall(settings, CameraView(settings.camera))};
  return scene;
}

PixelPlace pixel_of_printed(const Scene& scene, const cv::Point2d& printed_mm) {
  const double factor = scene.settings.wall.scale_factor;
  return scene.view.pixel_from_wall({printed_mm.x * factor, printed_mm.y * factor});
}

double green(const Scene& scene, int row, int column) {
  return static_cast<double>(scene.wall.at<cv::Vec3f>(row, column)[1]);
}

// Where the row crosses from white (left) to black: pixels share the edge in proportion to area.
double edge_in_row(const Scene& scene, int row, int from, int to) {
  const double white = green(scene, row, from), black = green(scene, row, to);
  double dark = 0;
  for (int x = from; x <= to; ++x) dark += (white - green(scene, row, x)) / (white - black);
  return to + 0.5 - dark;
}

double edge_in_column(const Scene& scene, int column, int from, int to) {
  const double white = green(scene, from, column), black = green(scene, to, column);
  double dark = 0;
  for (int y = from; y <= to; ++y) dark += (white - green(scene, y, column)) / (white - black);
  return to + 0.5 - dark;
}

TEST_SUITE("wall_renderer") {
  TEST_CASE("edges of drawn markers lie where the camera projects them, to a fiftieth of a pixel") {
    const Scene& scene = plain_scene();
    for (const int id : {0, 7, 11, 14, 22, 23}) {
      CAPTURE(id);
      const auto corner = PrintedScale::marker_corners_mm(id);
      const PixelPlace tl = pixel_of_printed(scene, corner[0]);
      const PixelPlace tr = pixel_of_printed(scene, corner[1]);
      const PixelPlace bl = pixel_of_printed(scene, corner[3]);
      const int row = cvRound((tl.y_px + bl.y_px) / 2);
      const double along = (row - tl.y_px) / (bl.y_px - tl.y_px);
      const double left_px = tl.x_px + along * (bl.x_px - tl.x_px);
      CHECK(edge_in_row(scene, row, cvRound(left_px) - 4, cvRound(left_px) + 4) ==
            within_abs(left_px, 0.02));
      const int column = cvRound((tl.x_px + tr.x_px) / 2);
      const double across = (column - tl.x_px) / (tr.x_px - tl.x_px);
      const double top_px = tl.y_px + across * (tr.y_px - tl.y_px);
      CHECK(edge_in_column(scene, column, cvRound(top_px) - 4, cvRound(top_px) + 4) ==
            within_abs(top_px, 0.02));
    }
  }

  TEST_CASE("ticks of the printed ruler are centred where the camera projects them") {
    const Scene& scene = plain_scene();
    double sum = 0;
    int count = 0;
    for (int number = 20; number <= 460; number += 20) {
      const PixelPlace tick =
          pixel_of_printed(scene, {1.0 * number, -6.5});  // only long ticks here
      const int row = cvRound(tick.y_px);
      // The line is nearly upright: its place in this row, from the place at another height.
      const PixelPlace other = pixel_of_printed(scene, {1.0 * number, -5.5});
      const double expected_px =
          tick.x_px + (row - tick.y_px) * (other.x_px - tick.x_px) / (other.y_px - tick.y_px);

      // The line is 0.6 px wide: what each pixel gets is its overlap with the line.
      const double half_px =
          0.125 * scene.settings.wall.scale_factor * scene.view.px_per_mm({1.0 * number, -6.5})[0];
      const int middle = cvRound(expected_px);
      double dark = 0, moment = 0, overlaps = 0, overlap_moment = 0;
      for (int x = middle - 3; x <= middle + 3; ++x) {
        // The paper between two points 4 px off: the light falls off along it.
        const double share = (x - middle + 4) / 8.0;
        const double white =
            (1 - share) * green(scene, row, middle - 4) + share * green(scene, row, middle + 4);
        dark += white - green(scene, row, x);
        moment += (white - green(scene, row, x)) * x;
        const double overlap = std::max(
            0.0,
            std::min(x + 0.5, expected_px + half_px) - std::max(x - 0.5, expected_px - half_px));
        overlaps += overlap;
        overlap_moment += overlap * x;
      }
      // 89 points see the width of the line to 1/89 px, so the share of a pixel to 1/50 at worst.
      CHECK(moment / dark == within_abs(overlap_moment / overlaps, 0.02));
      sum += moment / dark - overlap_moment / overlaps;
      ++count;
    }
    CHECK(sum / count == within_abs(0, 0.005));
  }

  TEST_CASE("all markers are read from a noisy picture, with corners where they belong") {
    for (const cv::Size size : {cv::Size(1280, 720), cv::Size(640, 360)}) {
      CAPTURE(size.width);
      const NightSettings standard;
      Scene scene{standard, CameraView(standard.camera), {}};
      scene.settings.camera.width_px = size.width;
      scene.settings.camera.height_px = size.height;
      scene.view = CameraView(scene.settings.camera);
      scene.wall = render_wall(scene.settings, scene.view);
      const cv::Mat picture = CameraNoise(scene.settings.camera, 5).expose(scene.wall);
      std::vector<int> ids;
      std::vector<std::vector<cv::Point2f>> found;
      cv::aruco::detectMarkers(
          picture, cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100), found, ids);
      CHECK(std::set<int>(ids.begin(), ids.end()).size() == 24);
      for (std::size_t i = 0; i < ids.size(); ++i) {
        REQUIRE(ids[i] < 24);
        const auto corners = PrintedScale::marker_corners_mm(ids[i]);
        for (std::size_t k = 0; k < 4; ++k) {
          const PixelPlace expected = pixel_of_printed(scene, corners[k]);
          // Unrefined corners are whole pixels on a traced border; the exact place of the edges is
          // the matter of the tests above. A mirrored or turned marker would be off by 30 px.
          const cv::Point2f& corner = found[i][k];
          CHECK(std::hypot(static_cast<double>(corner.x) - expected.x_px,
                           static_cast<double>(corner.y) - expected.y_px) < 2);
        }
      }
    }
  }

  TEST_CASE("the wall is dim, and the paper lets the spot stand out") {
    const Scene& scene = plain_scene();
    double largest = 0, smallest = 255;
    cv::minMaxLoc(scene.wall.reshape(1), &smallest, &largest);
    CHECK(largest < 100);
    CHECK(smallest > 0);
  }
}

}  // namespace
}  // namespace nightswing::demo
