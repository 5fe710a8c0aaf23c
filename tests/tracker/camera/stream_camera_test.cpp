// Network cameras, served on this computer.
#include "tracker/camera/stream_camera.h"

#include <chrono>
#include <memory>

#include <doctest/doctest.h>

#include "analysis/input_error.h"
#include "tests/support/ffmpeg_server.h"
#include "tests/support/near.h"
#include "tests/support/night_camera.h"
#include "tests/support/served_stream.h"
#include "tracker/camera/frame_grabber.h"
#include "tracker/camera/open_camera.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using Kind = CameraNotice::Kind;

namespace {

constexpr StreamPatience kPatience{.open = std::chrono::milliseconds(1500),
                                   .picture = std::chrono::milliseconds(1500)};
constexpr std::chrono::seconds kTestPatience{60};  // a failing test shall end
const cv::Size kSize{320, 240};

FrameGrabberOptions quick() {
  FrameGrabberOptions options;
  options.least_step_s = 0.0;
  options.silence_s = 1.0;
  options.first_wait = std::chrono::milliseconds(20);
  options.longest_wait = std::chrono::milliseconds(100);
  return options;
}

struct Set {
  SystemClock clock;
  ServedStream stream;
  NightCamera camera{stream, kSize, std::chrono::milliseconds(20)};
  OpenCamera open = camera_opener({.name = stream.address(), .stream_patience = kPatience}, clock);
  FrameGrabber grabber{open({}), open, clock, quick()};
  LivePicture taken;

  void await_picture() { REQUIRE(grabber.next(taken, kTestPatience)); }
  void await_notice(Kind kind) {
    const auto end = std::chrono::steady_clock::now() + kTestPatience;
    while (std::chrono::steady_clock::now() < end) {
      for (const CameraNotice& notice : grabber.take_notices()) {
        if (notice.kind == kind) return;
      }
      static_cast<void>(grabber.next(taken, std::chrono::milliseconds(10)));
    }
    FAIL("the notice did not come");
  }
};

}  // namespace

TEST_SUITE("stream_camera") {
  TEST_CASE("pictures come with the moment of their arrival") {
    Set set;
    CHECK(set.grabber.facts().width_px == kSize.width);
    CHECK(set.grabber.facts().identity == set.stream.address());
    double last_s = 0.0;
    for (int k = 0; k < 20; ++k) {
      set.await_picture();
      CHECK(set.taken.steady_s > last_s);
      CHECK(set.taken.steady_s <= set.clock.steady_s());
      CHECK(set.taken.picture.size() == kSize);
      last_s = set.taken.steady_s;
    }
  }

  TEST_CASE("a stream that is silent, ends, refuses and comes back is taken up again") {
    Set set;
    set.await_picture();
    set.camera.stop_showing();
    set.await_notice(Kind::kLost);
    set.camera.show_again();
    set.await_notice(Kind::kBack);
    set.await_picture();
    set.stream.hang_up(false);
    set.await_notice(Kind::kLost);
    set.await_notice(Kind::kBack);
    set.stream.hang_up(true);
    set.await_notice(Kind::kLost);
    const int before = set.stream.visitors();
    const auto end = std::chrono::steady_clock::now() + kTestPatience;
    while (set.stream.visitors() < before + 3 && std::chrono::steady_clock::now() < end) {
      std::this_thread::yield();
    }
    set.stream.accept();
    set.await_notice(Kind::kBack);
    set.await_picture();
  }

  TEST_CASE("garbage is no picture, and the pictures after it are") {
    Set set;
    set.await_picture();
    set.camera.stop_showing();
    for (int k = 0; k < 40; ++k) {
      set.stream.show_bytes("\xff\xd8" + std::string(5000, static_cast<char>(k)) + "no picture");
    }
    set.camera.show_again();
    bool same_size = true;
    for (int k = 0; k < 20; ++k) {
      set.await_picture();
      same_size = same_size && set.taken.picture.size() == kSize;
    }
    CHECK(same_size);
  }

  TEST_CASE("a server that hangs from the beginning is refused in time") {
    const SystemClock clock;
    ServedStream silent;  // takes the connection and sends nothing
    const auto asked = std::chrono::steady_clock::now();
    CHECK_THROWS_WITH_AS(static_cast<void>(StreamCamera::open(silent.address(), kPatience, clock)),
                         doctest::Contains("no video comes from http://127.0.0.1"),
                         nightswing::InputError);
    CHECK(std::chrono::steady_clock::now() - asked < 10 * kPatience.open);
  }

  TEST_CASE("an opening can be given up long before its patience is over") {
    const SystemClock clock;
    ServedStream silent;
    constexpr StreamPatience kLong{.open = std::chrono::milliseconds(15'000),
                                   .picture = std::chrono::milliseconds(15'000)};
    const auto asked = std::chrono::steady_clock::now();
    CHECK(StreamCamera::open(
              silent.address(), kLong, clock, [&] { return silent.visitors() > 0; }) == nullptr);
    CHECK(std::chrono::steady_clock::now() - asked < 0.5 * kLong.open);
    CHECK(was_stream_given_up());
  }

  TEST_CASE("a camera of two H.264 pictures a second, which takes its time to open, is opened") {
    const FfmpegServer slow({"-f", "lavfi", "-i", "testsrc=size=320x240:rate=2"},
                            {"-c:v", "libx264", "-g", "4", "-f", "mpegts"});
    const SystemClock clock;
    std::unique_ptr<StreamCamera> camera;
    const auto end = std::chrono::steady_clock::now() + kTestPatience;
    while (!camera && std::chrono::steady_clock::now() < end) {
      try {
        camera = StreamCamera::open(slow.address(), StreamPatience{}, clock);
      } catch (const nightswing::InputError&) {
        // the server does not listen yet
      }
    }
    REQUIRE(camera);
    CHECK(camera->facts().width_px == kSize.width);
    // What waited while it was opened is passed over; then a new picture comes.
    Grab grab = Grab::kNothing;
    while (grab == Grab::kNothing && std::chrono::steady_clock::now() < end) {
      grab = camera->grab({});
    }
    CHECK(grab == Grab::kPicture);
  }
}
