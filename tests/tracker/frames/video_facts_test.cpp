#include "tracker/frames/video_facts.h"

#include <string>

#include <doctest/doctest.h>

#include "tests/support/command.h"
#include "tests/support/ffmpeg_film.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/opened_film.h"
#include "tracker/frames/picture_file.h"

using namespace nightswing;
using test::TemporaryFolder;
using test::within_abs;
using tracker::VideoFacts;

namespace {

/// 20 frames at 10 a second.
std::filesystem::path film(const TemporaryFolder& folder,
                           const std::string& name,
                           const std::string& options) {
  return test::ffmpeg_film(
      folder, name, "testsrc=size=64x48:rate=10:duration=2", "-pix_fmt yuv420p " + options);
}

VideoFacts facts_of(const std::filesystem::path& path) {
  const auto opened = tracker::open_film(path);
  REQUIRE(opened);
  return tracker::video_facts(*opened);
}

/// The same film with another head, nothing coded again.
std::filesystem::path with_head(const TemporaryFolder& folder,
                                const std::filesystem::path& film,
                                const std::string& options) {
  auto path = folder / ("head_" + film.filename().string());
  const auto made = test::run_command("ffmpeg -v error -y -i " + film.string() + " -c copy " +
                                      options + " " + path.string());
  REQUIRE_MESSAGE(made.status == 0, made.errors);
  return path;
}

}  // namespace

TEST_SUITE("video_facts") {
  TEST_CASE("a film without tags has a duration alone") {
    const TemporaryFolder folder;
    const VideoFacts facts = facts_of(film(folder, "plain.mp4", "-c:v mpeg4"));
    CHECK_FALSE(facts.created);
    CHECK(facts.rotation_deg == 0.0);
    REQUIRE(facts.duration_s);
    CHECK(*facts.duration_s == within_abs(2.0, 1e-3));  // containers count in milliseconds or finer
  }

  TEST_CASE("the duration of a Matroska film is that of the container") {
    const TemporaryFolder folder;
    const VideoFacts facts = facts_of(film(folder, "plain.mkv", "-c:v mjpeg"));
    REQUIRE(facts.duration_s);
    CHECK(*facts.duration_s == within_abs(2.0, 1e-3));
  }

  TEST_CASE("the creation time is read, and a recorder without a clock has none") {
    const TemporaryFolder folder;
    const auto plain = film(folder, "plain.mp4", "-c:v mpeg4");
    const auto dated =
        with_head(folder, plain, "-metadata creation_time=2026-03-14T21:30:05.000000Z");
    const VideoFacts facts = facts_of(dated);
    REQUIRE(facts.created);
    CHECK(tracker::iso_text(*facts.created) == "2026-03-14T21:30:05.000Z");
    const auto clockless =
        with_head(folder, plain, "-metadata creation_time=1970-01-01T00:00:05.000000Z");
    CHECK_FALSE(facts_of(clockless).created);
  }

  TEST_CASE("the rotation is the clockwise turn by which a player shows the picture") {
    // The player is the ffmpeg program: a light in the top left corner of what is stored goes to
    // the top right by a quarter turn clockwise, to the bottom left by one the other way.
    const TemporaryFolder folder;
    const auto plain =
        film(folder,
             "plain.mp4",
             "-vf drawbox=0:0:64:48:black:fill,drawbox=0:0:12:12:white:fill -c:v mpeg4");
    for (const char* const tag : {"90", "270"}) {
      CAPTURE(tag);
      const auto turned = with_head(folder, plain, std::string("-metadata:s:v rotate=") + tag);
      const auto shown_path = folder / (std::string(tag) + ".png");
      const auto made = test::run_command("ffmpeg -v error -y -i " + turned.string() +
                                          " -frames:v 1 " + shown_path.string());
      REQUIRE_MESSAGE(made.status == 0, made.errors);
      const cv::Mat shown = tracker::read_picture(shown_path);
      REQUIRE_FALSE(shown.empty());
      const auto lit = [&shown](int y, int x) { return shown.at<cv::Vec3b>(y, x)[1] > 128; };
      const double deg = facts_of(turned).rotation_deg;
      // The matrix in the file has 16 fractional bits.
      if (lit(4, shown.cols - 5)) {
        CHECK(deg == within_abs(90.0, 1e-3));
      } else {
        REQUIRE(lit(shown.rows - 5, 4));
        CHECK(deg == within_abs(-90.0, 1e-3));
      }
    }
  }

  TEST_CASE("what is no film, or sound alone, is not opened as one") {
    const TemporaryFolder folder;
    test::write_text(folder / "text.mp4", "no film");
    const auto sound = folder / "sound.wav";
    const auto made =
        test::run_command("ffmpeg -v error -y -f lavfi -i sine=duration=1 " + sound.string());
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    for (const auto& path : {folder / "none.mp4", folder / "text.mp4", sound}) {
      CAPTURE(path.string());
      CHECK_FALSE(tracker::open_film(path));
    }
  }
}
