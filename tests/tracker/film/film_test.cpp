#include <cmath>
#include <numbers>
#include <optional>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>
#include <opencv2/videoio.hpp>

#include "analysis/quantities/input_error.h"
#include "calibration/map/wall_map.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/film/film.h"
#include "tracker/film/film_contents.h"
#include "tracker/film/film_painter.h"
#include "tracker/film/film_writer.h"
#include "tracker/replay.h"
#include "tracker/run/camera_file.h"
#include "tracker/run/wall_file.h"

using namespace nightswing::test;
using namespace nightswing::tracker;
namespace calibration = nightswing::calibration;

namespace {

constexpr int kFrames = 40;

/// Forty frames of 640 x 360 with a red Gaussian spot that swings along y = 180.
void write_swinging_spot(const std::filesystem::path& path) {
  FilmWriter writer(path, {.width_px = 640, .height_px = 360, .quality = 8});
  cv::RNG noise(7);
  for (int k = 0; k < kFrames; ++k) {
    const double x_px = 320.3 + 150.0 * std::cos(0.31 * k);
    cv::Mat picture(360, 640, CV_8UC4);
    for (int y = 0; y < picture.rows; ++y) {
      for (int x = 0; x < picture.cols; ++x) {
        const double light =
            130.0 * std::exp(-0.5 * (std::pow(x - x_px, 2) + std::pow(y - 180.4, 2)) / 16.0);
        const double wall = 40.0 + noise.gaussian(1.0);
        picture.at<cv::Vec4b>(y, x) = {cv::saturate_cast<unsigned char>(wall),
                                       cv::saturate_cast<unsigned char>(wall),
                                       cv::saturate_cast<unsigned char>(wall + light),
                                       0};
      }
    }
    writer.write(picture);
  }
  writer.finish();
}

/// How the pace of the time-lapse is told.
enum class Pace { kStep, kEnds };

/// A run of that video, a frame every 5 s, mapped by a ruler of 0.5 mm per pixel.
RunFolder swinging_run(const TemporaryFolder& folder, Pace pace = Pace::kStep) {
  write_swinging_spot(folder / "wall.mp4");
  ReplayRequest request{
      .source = (folder / "wall.mp4").string(), .run = folder / "run", .quiet = true};
  if (pace == Pace::kStep) {
    request.frame_every_s = 5.0;
  } else {
    request.start = parse_iso_time("2026-03-14T21:00:00Z");
    request.end = parse_iso_time("2026-03-14T21:03:15Z");  // 39 steps of 5 s
  }
  const auto summary = replay(request);
  REQUIRE(summary.frames_by_state.measured() == kFrames);
  const std::vector<calibration::LineReference> ticks{{.pixel = {0.0, 180.0}, .x_mm = 0.0},
                                                      {.pixel = {600.0, 180.0}, .x_mm = 300.0}};
  const auto fit = calibration::fit_line_map(ticks, {.width_px = 640, .height_px = 360});
  REQUIRE(fit.status == calibration::MapStatus::kFitted);
  write_wall_map(summary.run.wall(), fit.map);
  return summary.run;
}

cv::Point2d centroid_of(const cv::Mat& weights) {
  const cv::Moments m = cv::moments(weights);
  REQUIRE(m.m00 > 0.0);
  return {m.m10 / m.m00, m.m01 / m.m00};
}

/// How far the middle of the yellow ring is from the middle of the red light inside it.
double miss_px(const cv::Mat& frame, const FilmLayout& layout) {
  const cv::Mat picture = frame(layout.picture);
  cv::Mat channels[3];
  cv::split(picture, channels);
  cv::Mat ring;  // only yellow has much more green than blue
  cv::subtract(channels[1], channels[0], ring);
  cv::threshold(ring, ring, 80, 0, cv::THRESH_TOZERO);
  const cv::Point2d middle = centroid_of(ring);
  cv::Mat red;
  cv::subtract(channels[2], channels[1], red);
  cv::threshold(red, red, 30, 0, cv::THRESH_TOZERO);
  cv::Mat inside = cv::Mat::zeros(red.size(), CV_8U);
  cv::circle(inside, cv::Point(cvRound(middle.x), cvRound(middle.y)), 26, 255, cv::FILLED);
  cv::Mat spot;
  red.copyTo(spot, inside);
  const cv::Point2d light = centroid_of(spot);
  return std::hypot(light.x - middle.x, light.y - middle.y);
}

/// Of a film of 90 frames: in one of six after the title the marker is within 1 px of the spot.
void check_markers(cv::VideoCapture& film, const FilmLayout& layout) {
  cv::Mat frame;
  int looked_at = 0;
  for (int k = 0; film.read(frame); ++k) {
    if (k < 16 || k % 6 != 0) continue;  // the first 0.45 s are the title
    CHECK(miss_px(frame, layout) < 1.0);
    ++looked_at;
  }
  CHECK(looked_at == 12);
}

/// A night that rests at 300 px while the sources stand at plus, farther right at minus.
FilmContents two_sides() {
  FilmContents contents;
  std::vector<ShownSample> samples;
  for (int k = 0; k <= 20; ++k) {
    const double x_mm = 10.0 * k;
    const double t_s = 60.0 * k;
    contents.moments.push_back({.t_s = t_s, .state = SpotState::kFound, .spot = {}, .x_mm = x_mm});
    samples.push_back({.t_s = t_s,
                       .x_mm = x_mm,
                       .u_mm = 0.1,
                       .residual_mm = {},
                       .left_out = false,
                       .pixel = {250.0 + x_mm, 180.0}});
  }
  contents.segments = {{"plus", 0.0, 600.0, 50.0}, {"minus", 600.0, 1200.0, 150.0}};
  contents.sides = {{0.0, "plus"}, {600.0, "minus"}};
  contents.path = PathInPicture::of(samples);
  return contents;
}

/// How far the source mass at the right end of the drawn balance stands ahead of its test mass
/// (upwards); nothing if none is drawn.
std::optional<double> ahead_px(const FilmContents& contents, std::size_t moment) {
  const FilmLayout layout = film_layout({640, 360}, FilmSize::k1080p);
  FilmPainter painter(contents, layout, 1.0);
  const cv::Mat frame = painter.paint(cv::Mat(360, 640, CV_8UC3, cv::Scalar::all(40)), moment);
  const PaperBox& panel = layout.panel;
  const cv::Mat balance = frame(cv::Rect(static_cast<int>(panel.left_pt + 0.5 * panel.width_pt),
                                         static_cast<int>(panel.bottom_pt()) - 400,
                                         static_cast<int>(0.5 * panel.width_pt),
                                         340));
  const auto rows_of = [&balance](const Colour& colour) {
    const cv::Scalar bgr(255.0 * colour.blue, 255.0 * colour.green, 255.0 * colour.red);
    cv::Mat mask;
    cv::inRange(balance, bgr - cv::Scalar(2, 2, 2, 0), bgr + cv::Scalar(2, 2, 2, 255), mask);
    return mask;
  };
  const bool is_first = contents.moments.at(moment).t_s < contents.sides.at(1).t_s;
  const std::string& side = contents.sides.at(is_first ? 0 : 1).side;
  const cv::Mat source = rows_of(side_colour(dark_palette(), side));
  if (cv::countNonZero(source) == 0) return std::nullopt;
  return centroid_of(rows_of(dark_palette().ink)).y - centroid_of(source).y;
}

}  // namespace

TEST_SUITE("film writer") {
  TEST_CASE("what was written plays as H.264 in yuv420p, every frame, in its brightness") {
    const TemporaryFolder folder;
    const std::string path = (folder / "film.mp4").string();
    FilmWriter writer(path, {.width_px = 320, .height_px = 180});
    for (int k = 0; k < 30; ++k) writer.write(cv::Mat(180, 320, CV_8UC4, cv::Scalar::all(8 * k)));
    CHECK_FALSE(std::filesystem::exists(path));
    writer.finish();
    cv::VideoCapture film(path);
    REQUIRE(film.isOpened());
    const auto fourcc = static_cast<int>(film.get(cv::CAP_PROP_FOURCC));
    CHECK((fourcc == cv::VideoWriter::fourcc('h', '2', '6', '4') ||
           fourcc == cv::VideoWriter::fourcc('a', 'v', 'c', '1')));
    CHECK(static_cast<int>(film.get(cv::CAP_PROP_CODEC_PIXEL_FORMAT)) ==
          cv::VideoWriter::fourcc('I', '4', '2', '0'));
    CHECK(film.get(cv::CAP_PROP_FPS) == within_abs(30.0, 1e-9));
    cv::Mat frame;
    int count = 0;
    while (film.read(frame)) {
      // lossy: a few counts on flat gray
      CHECK(cv::mean(frame)[1] == within_abs(8.0 * count, 4.0));
      ++count;
    }
    CHECK(count == 30);
  }

  TEST_CASE("a film that was not finished leaves nothing behind") {
    const TemporaryFolder folder;
    {
      FilmWriter writer(folder / "film.mp4", {.width_px = 320, .height_px = 180});
      writer.write(cv::Mat(180, 320, CV_8UC4, cv::Scalar::all(9)));
    }
    CHECK(std::filesystem::is_empty(folder.path()));
  }

  TEST_CASE("an odd size and a folder that is not there are refused") {
    const TemporaryFolder folder;
    CHECK_THROWS_AS(FilmWriter(folder / "f.mp4", {.width_px = 321, .height_px = 180}),
                    std::invalid_argument);
    CHECK_THROWS_AS(FilmWriter(folder / "no/f.mp4", {.width_px = 320, .height_px = 180}),
                    nightswing::InputError);
  }
}

TEST_SUITE("film layout") {
  TEST_CASE("pictures of every shape fit, and pixels are square") {
    for (const cv::Size source : {cv::Size(1280, 720), cv::Size(640, 480), cv::Size(1080, 1920)}) {
      const FilmLayout layout = film_layout(source, FilmSize::k1080p);
      CHECK(layout.width_px == 1920);
      CHECK(layout.height_px == 1080);
      CHECK((layout.picture & cv::Rect(0, 0, 1440, 810)) == layout.picture);
      CHECK(layout.picture.width == within_abs(layout.scale * source.width, 1.0));
      CHECK(layout.picture.height == within_abs(layout.scale * source.height, 1.0));
    }
    const FilmLayout plain = film_layout({641, 361}, FilmSize::kSource);
    CHECK(plain.scale == 1.0);
    CHECK(plain.picture.size() == cv::Size(641, 361));
    CHECK(plain.width_px % 2 == 0);
    CHECK(plain.height_px % 2 == 0);
  }

  TEST_CASE("the middle of a source's pixel is that of its enlarged square") {
    const FilmLayout layout = film_layout({640, 360}, FilmSize::k1080p);
    REQUIRE(layout.scale == 2.25);
    CHECK(layout.at({0.0, 0.0}).x_pt == within_abs(layout.picture.x + 1.125, 1e-12));
    CHECK(layout.at({639.5, 359.5}).x_pt == within_abs(layout.picture.x + 1440.0, 1e-12));
  }
}

TEST_SUITE("film") {
  TEST_CASE("the marker of a decoded frame is within 1 px of the spot") {
    const TemporaryFolder folder;
    const RunFolder run = swinging_run(folder);
    for (const bool drawn : {false, true}) {
      for (const FilmSize size : {FilmSize::k1080p, FilmSize::kSource}) {
        CAPTURE(drawn);
        const auto summary = make_film({.run = run,
                                        .seconds = 3.0,
                                        .captions = {},
                                        .output = folder / "film.mp4",
                                        .drawn = drawn,
                                        .size = size,
                                        .quiet = true});
        CHECK(summary.frames == 90);
        const FilmLayout layout = film_layout({640, 360}, size);
        cv::VideoCapture film((folder / "film.mp4").string());
        REQUIRE(film.get(cv::CAP_PROP_FRAME_WIDTH) == layout.width_px);
        check_markers(film, layout);
      }
    }
  }

  TEST_CASE("so it is where the pace was told by the times of the first frame and the last") {
    const TemporaryFolder folder;
    const RunFolder run = swinging_run(folder, Pace::kEnds);
    const auto summary = make_film(
        {.run = run, .seconds = 3.0, .captions = {}, .output = folder / "film.mp4", .quiet = true});
    CHECK(summary.picture.find("drawn") == std::string::npos);
    const FilmLayout layout = film_layout({640, 360}, FilmSize::k1080p);
    cv::VideoCapture film((folder / "film.mp4").string());
    check_markers(film, layout);
  }

  TEST_CASE("the sources are drawn where they turn the beam the way the spot has moved") {
    // Seen from above, the wall ahead: a source ahead of the right end pulls that end forward, the
    // boom turns to the left, and so does the beam.
    FilmContents contents = two_sides();
    const auto at_plus = ahead_px(contents, 3);
    const auto at_minus = ahead_px(contents, 15);
    REQUIRE(at_plus);
    REQUIRE(at_minus);
    CHECK(*at_plus > 20.0);  // clear of the test mass
    CHECK(*at_minus < -20.0);
    contents.segments.pop_back();  // which way the spot goes is not known yet
    CHECK_FALSE(ahead_px(contents, 3));
  }

  TEST_CASE("without the video the wall is drawn, and the film says so") {
    const TemporaryFolder folder;
    const RunFolder run = swinging_run(folder);
    std::filesystem::remove(folder / "wall.mp4");
    const auto summary = make_film({.run = run,
                                    .seconds = 2.0,
                                    .captions = {{60.0, "half-way"}},
                                    .output = folder / "film.mp4",
                                    .quiet = true});
    CHECK(summary.picture.find("drawn from the track") != std::string::npos);
    CHECK(summary.frames == 60);
  }

  TEST_CASE("a video that is not there is refused, and so is that of another camera") {
    const TemporaryFolder folder;
    const RunFolder run = swinging_run(folder);
    FilmRequest request{
        .run = run, .seconds = 2.0, .captions = {}, .output = folder / "film.mp4", .quiet = true};
    request.video = folder / "other.mp4";
    CHECK_THROWS_AS(static_cast<void>(make_film(request)), nightswing::InputError);
    FilmWriter other(request.video, {.width_px = 320, .height_px = 180});
    other.write(cv::Mat(180, 320, CV_8UC4, cv::Scalar::all(9)));
    other.finish();
    CHECK_THROWS_AS(static_cast<void>(make_film(request)), nightswing::InputError);
    CHECK_FALSE(std::filesystem::exists(folder / "film.mp4"));
  }

  TEST_CASE("places of the wall follow a camera that was knocked") {
    const TemporaryFolder folder;
    const RunFolder run = swinging_run(folder);
    std::filesystem::remove(run.camera());
    {
      CameraWriter camera(run.camera());
      for (int k = 0; k < kFrames; ++k) {
        const bool knocked = k >= 20;
        camera.append(
            {.t_s = 5.0 * k,
             .motion = {.shift_x_px = knocked ? 9.0 : 0.0, .shift_y_px = knocked ? -4.0 : 0.0},
             .u_shift_px = 0.02,
             .patches = 40,
             .state = k == 20 ? CameraState::kMoved : CameraState::kRegistered});
      }
    }
    const FilmContents contents = film_contents(run);
    const auto before = contents.in_frame(20.0, {300.0, 200.0});
    const auto after = contents.in_frame(150.0, {300.0, 200.0});
    CHECK(before.x_px == within_abs(300.0, 1e-6));
    CHECK(after.x_px == within_abs(309.0, 1e-3));
    CHECK(after.y_px == within_abs(196.0, 1e-3));
  }
}
