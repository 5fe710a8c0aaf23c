// The thread that takes pictures, and what it does when the camera is lost.
#include "tracker/camera/frame_grabber.h"

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/await.h"
#include "tests/support/fake_camera.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using Kind = CameraNotice::Kind;

namespace {

constexpr std::chrono::seconds kGrabberTestPatience{30};  // a failing test shall end
constexpr std::chrono::milliseconds kNow{0};

FrameGrabberOptions quick_reopening() {
  FrameGrabberOptions options;
  options.first_wait = std::chrono::milliseconds(1);
  options.longest_wait = std::chrono::milliseconds(4);
  return options;
}

cv::Mat even(int counts, cv::Size size = {160, 120}) {
  return {size, CV_8UC3, cv::Scalar::all(counts)};
}

struct GrabberFixture {
  FakeClock clock;
  FakeCamera camera{clock};
  FrameGrabber grabber{camera.opener()({}), camera.opener(), clock, quick_reopening()};
  LivePicture taken;

  void show(int counts) {
    clock.now_s = clock.now_s + 1.0;
    camera.show(even(counts));
  }
  void take(int counts) {
    REQUIRE(grabber.next(taken, kGrabberTestPatience));
    CHECK(taken.picture.at<cv::Vec3b>(0, 0)[0] == counts);
  }
  std::vector<CameraNotice> await_notices(std::size_t count) {
    std::vector<CameraNotice> all;
    REQUIRE(await(
        [&] {
          for (auto& notice : grabber.take_notices()) all.push_back(std::move(notice));
          return all.size() >= count;
        },
        kGrabberTestPatience));
    REQUIRE(all.size() == count);
    return all;
  }
};

}  // namespace

TEST_SUITE("frame_grabber") {
  TEST_CASE("the newest picture is given, once, with the time it was taken") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    CHECK(set.taken.steady_s == 1001.0);
    for (const int counts : {60, 70, 80}) set.show(counts);
    set.camera.await_grabs(2);  // what was shown last has been passed on
    set.take(80);
    CHECK(set.taken.steady_s == 1004.0);
    CHECK_FALSE(set.grabber.next(set.taken, kNow));
  }

  TEST_CASE("pictures faster than asked for are passed over, uneven ones are not") {
    GrabberFixture set;
    const auto taken_of = [&](const std::vector<double>& distances_s) {
      int taken = 0;
      int k = 0;
      for (const double distance_s : distances_s) {
        set.clock.now_s = set.clock.now_s + distance_s;
        set.camera.show(even(50 + k++ % 100));
        set.camera.await_grabs(2);
        if (set.grabber.next(set.taken, kNow)) ++taken;
      }
      return taken;
    };
    CHECK(taken_of(std::vector<double>(60, 1.0 / 30.0)) == within_abs(20.0, 1.0));  // ten a second
    std::vector<double> uneven;
    for (int k = 0; k < 20; ++k) uneven.push_back(k % 2 == 0 ? 0.08 : 0.12);
    CHECK(taken_of(uneven) >= 19);  // the first may come too soon after those before
  }

  TEST_CASE("an unplugged camera is told once, opened again with waits, and told when it is back") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    set.camera.unplug();
    set.camera.await_openings(6);  // the first and five in vain
    auto notices = set.await_notices(1);
    CHECK(notices[0].kind == Kind::kLost);
    CHECK(notices[0].text == "it was unplugged");
    set.clock.now_s = set.clock.now_s + 60.0;
    set.camera.plug_in({160, 120});
    set.show(51);
    set.take(51);
    notices = set.await_notices(1);
    CHECK(notices[0].kind == Kind::kBack);
    CHECK(notices[0].text.starts_with("after 1 min 01 s, at attempt "));
  }

  TEST_CASE("a camera that hangs is opened anew") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    set.clock.now_s = set.clock.now_s + 4.9;
    set.camera.await_grabs(3);
    CHECK(set.grabber.take_notices().empty());
    set.clock.now_s = set.clock.now_s + 0.2;
    const auto notices = set.await_notices(1);
    CHECK(notices[0].text == "it gives no pictures any more");
    set.camera.await_openings(2);
    set.show(51);
    set.take(51);
  }

  TEST_CASE("a camera that sends what is no picture is opened anew, and that is told") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    const cv::Mat damaged;
    for (int k = 0; k < 5; ++k) {
      set.clock.now_s = set.clock.now_s + 1.0;
      set.camera.show(damaged);
    }
    set.camera.await_grabs(2);
    CHECK(set.grabber.take_notices().empty());
    set.clock.now_s = set.clock.now_s + 1.0;
    set.camera.show(damaged);
    const auto notices = set.await_notices(1);
    CHECK(notices[0].kind == Kind::kLost);
    CHECK(notices[0].text == "what it sends cannot be read as pictures");
    set.camera.await_openings(2);
    set.show(51);
    set.take(51);
  }

  TEST_CASE("one picture again and again is not taken for new ones") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    for (int k = 0; k < 10; ++k) set.show(50);
    set.camera.await_grabs(2);
    CHECK_FALSE(set.grabber.next(set.taken, kNow));
    CHECK(set.grabber.take_notices().empty());
    set.show(50);
    const auto notices = set.await_notices(1);
    CHECK(notices[0].text == "it gives the same picture again and again");
  }

  TEST_CASE("black pictures may be alike") {
    GrabberFixture set;
    for (int k = 0; k < 20; ++k) {
      set.show(3);
      set.take(3);
    }
    CHECK(set.grabber.take_notices().empty());
  }

  TEST_CASE("pictures of another size are not let through, and that is told") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    set.camera.unplug();
    set.camera.await_openings(3);
    CHECK(set.await_notices(1)[0].text == "it was unplugged");
    set.camera.plug_in({80, 60});
    const auto notices = set.await_notices(1);
    CHECK(notices[0].kind == Kind::kLost);
    CHECK(notices[0].text == "its pictures are now 80 x 60, not 160 x 120");
    CHECK_FALSE(set.grabber.next(set.taken, kNow));
    set.camera.plug_in({160, 120});
    set.show(52);
    set.take(52);
    CHECK(set.await_notices(1)[0].kind == Kind::kBack);
  }

  TEST_CASE("the size may also change in the middle of a stream") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    set.clock.now_s = set.clock.now_s + 1.0;
    set.camera.show(even(60, {80, 60}));
    CHECK(set.await_notices(1)[0].text == "its pictures are now 80 x 60, not 160 x 120");
    set.show(61);
    set.take(61);
  }

  TEST_CASE("a setting that changes by itself is told") {
    GrabberFixture set;
    set.show(50);
    set.take(50);
    set.camera.change_setting("40 ms");
    set.clock.now_s = set.clock.now_s + 4.0;
    set.show(51);
    set.camera.await_grabs(2);
    CHECK(set.grabber.take_notices().empty());  // looked at once a minute
    for (int k = 0; k < 16; ++k) {
      set.clock.now_s = set.clock.now_s + 3.0;
      set.show(60 + k);
    }
    const auto notices = set.await_notices(1);
    CHECK(notices[0].kind == Kind::kChanged);
    CHECK(notices[0].text == "exposure was 20 ms, is now 40 ms");
  }
}
