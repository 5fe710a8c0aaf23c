// A hundred films and a hundred photographs with bytes changed at random: each is read to its end
// or refused with a sentence, and never crashes or hangs (run under the sanitizers too).
#include <algorithm>
#include <fstream>
#include <iterator>
#include <random>
#include <string>

#include <doctest/doctest.h>
#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/command.h"
#include "tests/support/exif_photo.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/photo_folder.h"
#include "tracker/frames/video_source.h"

using namespace nightswing;
using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

std::string bytes_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// One to forty bytes changed, or a stretch zeroed, or the end cut off.
std::string damaged(std::string bytes, std::mt19937_64& random) {
  std::uniform_int_distribution<std::size_t> place(0, bytes.size() - 1);
  std::uniform_int_distribution<int> kind(0, 3);
  std::uniform_int_distribution<int> value(0, 255);
  const int chosen = kind(random);
  if (chosen == 3) return bytes.substr(0, place(random));
  if (chosen == 2) {
    const std::size_t at = place(random);
    std::fill(bytes.begin() + static_cast<std::ptrdiff_t>(at),
              bytes.begin() + static_cast<std::ptrdiff_t>(std::min(at + 500, bytes.size())),
              '\0');
    return bytes;
  }
  const int changes = chosen == 0 ? 1 : 40;
  for (int k = 0; k < changes; ++k) bytes[place(random)] = static_cast<char>(value(random));
  return bytes;
}

/// Frames read; nothing if the source is refused.
std::optional<int> frames_of(const std::string& name) {
  try {
    const auto source = open_source(name, {.frame_every_s = 5.0, .whole_s = {}});
    Frame frame;
    int frames = 0;
    double last_s = -1.0;
    while (source->next(frame)) {
      CHECK(frame.t_s > last_s);
      CHECK(frame.picture.size().width == source->facts().width_px);
      CHECK(frame.picture.size().height == source->facts().height_px);
      last_s = frame.t_s;
      if (++frames > 10'000) break;
    }
    return frames;
  } catch (const InputError& error) {
    CHECK(std::string(error.what()).size() > 10);
    return std::nullopt;
  }
}

}  // namespace

TEST_SUITE("damaged_files") {
  TEST_CASE("films with bytes changed at random are read as far as they go, or refused") {
    const TemporaryFolder folder;
    std::vector<std::string> films;
    for (const std::string& made :
         {std::string("-c:v libx264 -bf 2 -g 10 -pix_fmt yuv420p a.mp4"),
          std::string("-c:v libx264 -g 10 -pix_fmt yuv420p b.mkv"),
          std::string("-c:v mjpeg -q:v 5 -pix_fmt yuvj420p c.avi"),
          std::string("-c:v libx265 -x265-params log-level=none -pix_fmt yuv420p d.mov")}) {
      const auto result = run_command("cd " + folder.path().string() +
                                      " && ffmpeg -v error -f lavfi -i "
                                      "testsrc=size=96x64:rate=10:duration=3 " +
                                      made);
      REQUIRE_MESSAGE(result.status == 0, result.errors);
      films.push_back(made.substr(made.rfind(' ') + 1));
    }
    std::mt19937_64 random(11);
    int read = 0;
    for (int k = 0; k < 100; ++k) {
      CAPTURE(k);
      const std::string& name = films[static_cast<std::size_t>(k) % films.size()];
      const std::string hurt = (folder / ("hurt_" + name)).string();
      write_text(hurt, damaged(bytes_of(folder / name), random));
      const auto frames = frames_of(hurt);
      if (frames && *frames > 0) ++read;
      if (frames) CHECK(*frames <= 40);  // 30 are in it; damage may make a few of its own
    }
    CHECK(read >= 50);  // most damage leaves most of a film
  }

  TEST_CASE("photographs with bytes changed at random are read or left out") {
    const TemporaryFolder folder;
    cv::Mat picture(64, 96, CV_8UC3);
    cv::randu(picture, 0, 255);
    write_photo(folder / "whole.jpg",
                picture,
                {.date_time_original = "2026:03:14 21:30:00",
                 .sub_sec_time_original = "057",
                 .offset_time_original = "+01:00",
                 .orientation = 6});
    const std::string whole = bytes_of(folder / "whole.jpg");
    std::mt19937_64 random(12);
    std::filesystem::create_directory(folder / "photos");
    write_text(folder / "photos/p0.jpg", whole);
    for (int k = 1; k <= 100; ++k) {
      write_text(folder / "photos" / fmt::format("p{}.jpg", k), damaged(whole, random));
    }
    const auto frames = frames_of((folder / "photos").string());
    REQUIRE(frames);
    CHECK(*frames >= 30);
    CHECK(*frames <= 101);
    // Half of the damage is to the block with the times: they are mended or passed over.
    const PhotoFolder by_clock(folder / "photos");
    CHECK(by_clock.facts().width_px == 96);
  }
}
