#include "tracker/frames/video_source.h"

#include <fstream>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/command.h"
#include "tests/support/ffmpeg_film.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/frame_pump.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;

namespace {

std::vector<double> times_of(VideoSource& source) {
  std::vector<double> times;
  Frame frame;
  while (source.next(frame)) {
    CHECK(frame.picture.size().width == source.facts().width_px);
    times.push_back(frame.t_s);
  }
  return times;
}

std::string open_error(const std::filesystem::path& path) {
  try {
    const VideoSource source(path);
  } catch (const InputError& error) {
    return error.what();
  }
  return "no error";
}

constexpr const char* kPattern = "testsrc=size=160x120:rate=10:duration=6";
constexpr const char* kWithBFrames = "-c:v libx264 -bf 3 -pix_fmt yuv420p";

}  // namespace

TEST_SUITE("video_source") {
  TEST_CASE("timestamps of H.264 with B frames are exact to the last") {
    const TemporaryFolder folder;
    VideoSource source(ffmpeg_film(folder, "a.mp4", kPattern, kWithBFrames));
    const auto times = times_of(source);
    REQUIRE(times.size() == 60);
    for (std::size_t k = 0; k < times.size(); ++k) {
      CHECK(times[k] == within_abs(0.1 * static_cast<double>(k), 1e-3));  // time base of the file
    }
    CHECK(source.warnings().empty());
  }

  TEST_CASE("times that do not grow are mended and said so") {
    const TemporaryFolder folder;
    const auto film = ffmpeg_film(folder, "a.mp4", kPattern, "-c:v mjpeg");
    const auto stuck = folder / "stuck.mkv";
    // Frames 20 to 22 have the time of frame 19.
    const auto made = run_command(
        "ffmpeg -v error -i " + film.string() +
        " -c copy -bsf:v 'setts=ts=if(between(N\\,20\\,22)\\,19\\,N)*100:time_base=1/1000' " +
        stuck.string());
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    VideoSource source(stuck);
    const auto times = times_of(source);
    REQUIRE(times.size() == 60);
    for (std::size_t k = 1; k < times.size(); ++k) CHECK(times[k] > times[k - 1]);
    CHECK(times[20] == within_abs(2.0, 1.1e-3));
    CHECK(times[59] == within_abs(5.9, 1.1e-3));
    REQUIRE(source.warnings().size() == 1);
    CHECK(source.warnings()[0].find("3 frames had no usable time of their own") == 0);
  }

  TEST_CASE("a film of uneven steps with B frames has the times that were written, to the last") {
    const TemporaryFolder folder;
    VideoSource source(
        ffmpeg_film(folder,
                    "vfr.mp4",
                    std::string(kPattern) + ",settb=1/1000,setpts=pow(N\\,1.5)/10/TB",
                    "-fps_mode vfr -enc_time_base 1/1000 " + std::string(kWithBFrames)));
    const auto times = times_of(source);
    REQUIRE(times.size() == 60);
    for (std::size_t k = 0; k < times.size(); ++k) {
      CHECK(times[k] == within_abs(std::pow(static_cast<double>(k), 1.5) / 10.0, 1.1e-3));
    }
    CHECK(source.warnings().empty());
  }

  TEST_CASE("where the rate is given, times that the file lacks are no matter to warn of") {
    const TemporaryFolder folder;
    VideoSource source(ffmpeg_film(folder, "a.mp4", kPattern, kWithBFrames),
                       {.frame_every_s = 5.0, .whole_s = {}});
    const auto times = times_of(source);
    REQUIRE(times.size() == 60);
    CHECK(times.back() == 295.0);
    CHECK(source.warnings().empty());
  }

  TEST_CASE("a variable frame rate is followed to the millisecond") {
    const TemporaryFolder folder;
    // frames at n^1.5/10 s: every step differs
    VideoSource source(
        ffmpeg_film(folder,
                    "vfr.mkv",
                    std::string(kPattern) + ",settb=1/1000,setpts=pow(N\\,1.5)/10/TB",
                    "-fps_mode vfr -enc_time_base 1/1000 -c:v mjpeg"));
    const auto times = times_of(source);
    REQUIRE(times.size() == 60);
    for (std::size_t k = 0; k < times.size(); ++k) {
      CHECK(times[k] == within_abs(std::pow(static_cast<double>(k), 1.5) / 10.0, 1.1e-3));
    }
  }

  TEST_CASE("a time-lapse takes the time that the user gives") {
    const TemporaryFolder folder;
    VideoSource source(ffmpeg_film(folder, "lapse.mp4", kPattern, kWithBFrames),
                       {.frame_every_s = 5.0, .whole_s = {}});
    const auto times = times_of(source);
    REQUIRE(times.size() == 60);
    CHECK(times.front() == 0.0);
    CHECK(times.back() == 295.0);
  }

  TEST_CASE("the creation time and a rotation tag are read, the picture stays as stored") {
    const TemporaryFolder folder;
    const auto plain = ffmpeg_film(folder, "plain.mp4", kPattern, kWithBFrames);
    const auto turned = folder / "turned.mp4";
    const auto made = run_command("ffmpeg -v error -i " + plain.string() +
                                  " -c copy -metadata:s:v rotate=90"
                                  " -metadata creation_time=2026-03-14T21:30:00Z " +
                                  turned.string());
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    VideoSource source(turned);
    CHECK(source.facts().width_px == 160);
    CHECK(source.facts().height_px == 120);
    CHECK(std::abs(source.facts().rotation_deg) == within_abs(90.0, 1e-6));
    REQUIRE(source.facts().start);
    CHECK(iso_text(*source.facts().start) == "2026-03-14T21:30:00.000Z");
    Frame frame;
    REQUIRE(source.next(frame));
    CHECK(frame.picture.size().width == 160);
  }

  TEST_CASE("damage in the middle costs some frames, not the rest, and keeps their time free") {
    const TemporaryFolder folder;
    const auto path = ffmpeg_film(folder, "hurt.mkv", kPattern, "-c:v mjpeg -q:v 3");
    {
      std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
      file.seekp(static_cast<std::streamoff>(std::filesystem::file_size(path) / 2));
      file << std::string(3000, '\x55');
    }
    VideoSource source(path, {.frame_every_s = 5.0, .whole_s = {}});
    const auto times = times_of(source);
    CHECK(times.size() >= 50);
    CHECK(times.back() == 295.0);
    for (std::size_t k = 1; k < times.size(); ++k) CHECK(times[k] > times[k - 1]);
  }

  TEST_CASE("a file that breaks off gives what it holds and says so") {
    const TemporaryFolder folder;
    const auto path =
        ffmpeg_film(folder, "cut.mkv", kPattern, "-c:v libx264 -g 5 -pix_fmt yuv420p");
    std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
    VideoSource source(path);
    const auto times = times_of(source);
    CHECK(times.size() > 5);
    CHECK(times.size() < 55);
    bool said = false;
    for (const auto& warning : source.warnings())
      said |= warning.starts_with("the file breaks off");
    CHECK(said);
  }

  TEST_CASE("what is no video is refused with one sentence") {
    const TemporaryFolder folder;
    CHECK(open_error(folder / "none.mp4") == "there is no file " + (folder / "none.mp4").string());
    write_text(folder / "text.mp4", "this is no video\n");
    CHECK(open_error(folder / "text.mp4").find("cannot be read as a video") != std::string::npos);
    write_text(folder / "empty.mp4", "");
    CHECK(open_error(folder / "empty.mp4").ends_with("empty.mp4 is empty: 0 bytes"));
  }
}

TEST_SUITE("frame_pump") {
  TEST_CASE("the pump gives the frames of the source, bit for bit and in order") {
    const TemporaryFolder folder;
    const auto path = ffmpeg_film(folder, "a.mp4", kPattern, kWithBFrames);
    VideoSource plain(path);
    VideoSource pumped(path);
    FramePump pump(pumped);
    Frame expected;
    Frame frame;
    int frames = 0;
    while (plain.next(expected)) {
      REQUIRE(pump.next(frame));
      CHECK(frame.t_s == expected.t_s);
      CHECK(cv::norm(frame.picture.bgr(), expected.picture.bgr(), cv::NORM_INF) == 0.0);
      ++frames;
    }
    CHECK_FALSE(pump.next(frame));
    CHECK_FALSE(pump.next(frame));
    CHECK(frames == 60);
  }

  TEST_CASE("a pump that is left early stops its thread") {
    const TemporaryFolder folder;
    VideoSource source(ffmpeg_film(folder, "a.mp4", kPattern, kWithBFrames));
    FramePump pump(source);
    Frame frame;
    CHECK(pump.next(frame));
  }
}
