// Every codec in every container that can hold it, against the places and times of the pictures.
#include <cmath>
#include <fstream>
#include <iterator>
#include <random>
#include <string>

#include <doctest/doctest.h>
#include <fmt/format.h>

#include "tests/support/command.h"
#include "tests/support/near.h"
#include "tests/support/synthetic_film.h"
#include "tests/support/synthetic_spot.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/video_source.h"
#include "tracker/spot/spot_finder.h"

using namespace nightswing;
using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

const cv::Size kSize(192, 128);
constexpr int kFrames = 40;

double true_x_px(int frame) {
  return 40.2 + 2.7 * frame;
}

/// A spot that walks over a dim wall, ten pictures a second.
void make_film(const std::filesystem::path& film, const std::string& encoding) {
  std::mt19937_64 random(1);
  FilmPipe pipe(film, kSize, 10.0, encoding);
  const cv::Mat wall = plane_light(kSize, {50, 0.05, 0});
  for (int k = 0; k < kFrames; ++k) {
    const cv::Mat spot = spot_light(kSize, {140, true_x_px(k), 61.4, 4, 4});
    pipe.write(photograph(wall, spot, {1.0, 0, 0}, random));
  }
  pipe.close();
}

}  // namespace

TEST_SUITE("film_formats") {
  TEST_CASE("H.264, HEVC and MJPEG in MP4, MKV, MOV and AVI give every frame, place and time") {
    for (const std::string codec :
         {"-c:v libx264 -bf 3 -crf 18 -pix_fmt yuv420p",
          "-c:v libx265 -x265-params log-level=none -crf 18 -pix_fmt yuv420p",
          "-c:v libx265 -x265-params log-level=none -crf 18 -pix_fmt yuv420p10le",
          "-c:v mjpeg -q:v 3 -pix_fmt yuvj420p"}) {
      for (const std::string container : {"mp4", "mkv", "mov", "avi"}) {
        // AVI has no mark for HEVC; readers take it for raw pictures.
        if (container == "avi" && codec.find("x265") != std::string::npos) continue;
        CAPTURE(codec);
        CAPTURE(container);
        const TemporaryFolder folder;
        make_film(folder / ("film." + container), codec);
        VideoSource source(folder / ("film." + container));
        SpotFinder finder;
        Frame frame;
        int frames = 0;
        while (source.next(frame)) {
          CAPTURE(frames);
          // AVI has no times but a rate; a B-frame film in it may begin late, not run unevenly.
          CHECK(frame.t_s == within_abs(0.1 * frames, 1.1e-3));
          const auto spot = finder.measure(frame.picture);
          REQUIRE(is_measured(spot.state));
          // crf 18 scatters by 0.08 px (computed for this contrast by an independent route)
          CHECK(spot.position->x_px == within_abs(true_x_px(frames), 0.5));
          ++frames;
        }
        CHECK(frames == kFrames);
      }
    }
  }

  TEST_CASE("the span of the night gives the pace of a time-lapse") {
    const TemporaryFolder folder;
    make_film(folder / "lapse.mp4", "-c:v libx264 -bf 3 -pix_fmt yuv420p");
    VideoSource source(folder / "lapse.mp4", {.frame_every_s = {}, .whole_s = 3.9 * 60.0});
    CHECK(source.facts().time_from == "40 frames evenly over 234.000 s");
    Frame frame;
    double last_s = 0.0;
    while (source.next(frame)) last_s = frame.t_s;
    CHECK(last_s == within_abs(234.0, 1e-9));
  }

  TEST_CASE("frames that are lost to damage are told at their place") {
    const TemporaryFolder folder;
    make_film(folder / "hurt.avi", "-c:v mjpeg -q:v 3 -pix_fmt yuvj420p");
    std::string bytes;
    {
      std::ifstream file(folder / "hurt.avi", std::ios::binary);
      bytes.assign(std::istreambuf_iterator<char>(file), {});
    }
    // The start marks of two pictures in the middle, so that these two are no pictures any more.
    std::size_t at = 0;
    for (int picture = 0; picture < 22; ++picture) {
      at = bytes.find("\xFF\xD8\xFF", at + 1);
      REQUIRE(at != std::string::npos);
      if (picture >= 20) bytes.replace(at, 200, 200, '\0');
    }
    write_text(folder / "hurt.avi", bytes);
    VideoSource source(folder / "hurt.avi");
    Frame frame;
    std::string gaps;
    int frames = 0;
    while (source.next(frame)) {
      if (!frame.gap.empty()) gaps += fmt::format("{:.1f} {}", frame.t_s, frame.gap);
      ++frames;
    }
    CHECK(frames == kFrames - 2);
    CHECK(gaps == "2.2 2 frames of the film could not be read");
    REQUIRE(source.warnings().size() == 1);
    CHECK(source.warnings()[0] == "the file is damaged: 2 frames could not be read");
  }
}
