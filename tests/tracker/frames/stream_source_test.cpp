// A stream served on this computer, as a phone serves its pictures.
#include "tracker/frames/stream_source.h"

#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include <doctest/doctest.h>
#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/await.h"
#include "tests/support/ffmpeg_film.h"
#include "tests/support/ffmpeg_server.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

/// Twenty pictures a second for three, as motion JPEG (multipart/x-mixed-replace).
const std::vector<std::string> kPictures{
    "-f", "lavfi", "-i", "testsrc=size=160x120:rate=20:duration=3"};
const std::vector<std::string> kMotionJpeg{"-c:v", "mjpeg", "-f", "mpjpeg"};

/// Opens as soon as the server listens.
std::unique_ptr<FrameSource> opened(const std::string& address) {
  std::unique_ptr<FrameSource> source;
  static_cast<void>(await(
      [&] {
        try {
          source = open_source(address, {});
        } catch (const nightswing::InputError&) {
        }
        return source != nullptr;
      },
      std::chrono::seconds(20)));
  return source;
}

}  // namespace

TEST_SUITE("stream_source") {
  TEST_CASE("a motion JPEG stream is read to its end with the times of arrival") {
    const FfmpegServer server(kPictures, kMotionJpeg);
    const auto source = opened(server.address());
    REQUIRE(source);
    CHECK(source->facts().width_px == 160);
    CHECK(source->facts().height_px == 120);
    CHECK(source->facts().start);
    Frame frame;
    std::vector<double> times_s;
    while (source->next(frame)) {
      CHECK(frame.picture.size().width == 160);
      times_s.push_back(frame.t_s);
    }
    // Those that came while it was opened have waited, and do not count.
    CHECK(times_s.size() >= 30);
    CHECK(times_s.size() <= 60);
    CHECK(times_s.front() == 0.0);
    for (std::size_t k = 1; k < times_s.size(); ++k) CHECK(times_s[k] > times_s[k - 1]);
    // On the whole at the pace at which they were made, however the computer is loaded.
    const double made_s = 0.05 * static_cast<double>(times_s.size() - 1);
    CHECK(times_s.back() > 0.9 * made_s);
    CHECK_FALSE(source->next(frame));
  }

  TEST_CASE("a stream that changes its size is replayed up to there, and that is told") {
    const TemporaryFolder folder;
    const auto film = [&](const std::string& name, const std::string& size) {
      const std::string source = "testsrc=size=" + size + ":rate=20:duration=5";
      return ffmpeg_film(folder, name, source, "-c:v libx264 -g 10 -f mpegts").string();
    };
    const FfmpegServer server(
        {"-re", "-i", "concat:" + film("first.ts", "160x120") + "|" + film("then.ts", "320x240")},
        {"-c", "copy", "-f", "mpegts"});
    const auto source = opened(server.address());
    REQUIRE(source);
    Frame frame;
    int frames = 0;
    while (source->next(frame)) {
      CHECK(frame.picture.size() == cv::Size(160, 120));
      ++frames;
    }
    CHECK(frames > 30);
    REQUIRE(source->warnings().size() == 1);
    CHECK(source->warnings()[0].starts_with(
        "the stream's pictures were 160 x 120 and became 320 x 240"));
  }

  TEST_CASE("an address that nobody answers at is refused with one sentence") {
    const std::string address = fmt::format("http://127.0.0.1:{}/", free_port());
    CHECK_THROWS_WITH_AS(static_cast<void>(open_source(address, {})),
                         doctest::Contains("no video comes from http://127.0.0.1"),
                         nightswing::InputError);
    CHECK_THROWS_WITH_AS(
        static_cast<void>(open_source(address, {.frame_every_s = 5.0, .whole_s = {}})),
        doctest::Contains("the time of their arrival"),
        nightswing::InputError);
  }
}
