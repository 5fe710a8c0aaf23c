#include "demo_video/film_writer.h"

#include <csignal>
#include <filesystem>

#include <unistd.h>

#include "demo_video/camera_noise.h"
#include "demo_video/night_truth.h"
#include "demo_video/spot_renderer.h"
#include "demo_video/wall_renderer.h"
#include "tests/support/command.h"
#include "tests/support/near.h"
#include "tests/support/synthetic_film.h"

namespace nightswing::demo {
namespace {

using test::within_abs;

std::string temporary_film(const std::string& name) {
  return std::filesystem::temp_directory_path() / (name + std::to_string(getpid()) + ".mp4");
}

// Centre of mass of what rises above half of the spot's height in the red plane.
PixelPlace centre_of_light(const cv::Mat& frame) {
  double sum = 0, x = 0, y = 0;
  for (int row = 0; row < frame.rows; ++row) {
    for (int column = 0; column < frame.cols; ++column) {
      const double light = frame.at<cv::Vec3b>(row, column)[2] - 130.0;
      if (light <= 0) continue;
      sum += light;
      x += light * column;
      y += light * row;
    }
  }
  REQUIRE(sum > 0);
  return {x / sum, y / sum};
}

TEST_SUITE("film_writer") {
  TEST_CASE("a film has all its frames, and the spot in them where the truth says") {
    NightSettings night;
    night.sides = {{Side::kPlus, 0}};
    night.duration_s = 100;
    night.film.preset = "fast";
    night.camera.width_px = 640;
    night.camera.height_px = 360;
    const NightTruth truth = play_night(night);
    const CameraView view(night.camera);
    const cv::Mat wall = render_wall(night, view);
    CameraNoise camera(night.camera, night.seed);
    const std::string path = temporary_film("film writer's test");  // a name that needs quoting
    FilmWriter film(path, night);
    for (const TrackPoint& point : truth.track) {
      cv::Mat light = wall.clone();
      add_spot(light, view, night.spot, point.place);
      film.write(camera.expose(light));
    }
    film.finish();

    test::FilmPictures pictures(path, {640, 360});
    cv::Mat frame;
    std::size_t count = 0;
    while (pictures.next(frame)) {
      REQUIRE(count < truth.track.size());
      const PixelPlace centre = centre_of_light(frame);
      // A plain centroid in a compressed film: a quarter of a pixel, never a whole one.
      CHECK(centre.x_px == within_abs(truth.track[count].pixel.x_px, 0.25));
      CHECK(centre.y_px == within_abs(truth.track[count].pixel.y_px, 0.25));
      ++count;
    }
    CHECK(count == 20);
    const auto rate = test::run_command(
        "ffprobe -v error -show_entries stream=r_frame_rate -of csv=p=0 " + test::quoted(path));
    CHECK(rate.output == "25/1\n");
    std::filesystem::remove(path);
  }

  TEST_CASE("an encoder that fails is reported") {
    std::signal(SIGPIPE, SIG_IGN);
    NightSettings night;
    night.camera.width_px = 64;
    night.camera.height_px = 64;
    FilmWriter film("/nonexistent/night.mp4", night);
    const auto write_and_finish = [&] {
      film.write(cv::Mat(64, 64, CV_8UC3, cv::Scalar::all(40)));
      film.finish();
    };
    CHECK_THROWS_AS(write_and_finish(), SettingsError);
  }
}

}  // namespace
}  // namespace nightswing::demo
