// camera_list and open_camera: which device the user means, and finding it again.
#include "tracker/camera/camera_list.h"

#include <linux/videodev2.h>

#include <filesystem>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/fake_clock.h"
#include "tests/support/fake_device.h"
#include "tests/support/temporary_folder.h"
#include "tracker/camera/open_camera.h"
#include "tracker/text/usage_error.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;

namespace {

/// Two cameras, the first with its second device for metadata, and something else.
struct Computer {
  TemporaryFolder folder;
  DeviceFolders folders{folder.path(), folder / "by-id"};
  FakeDevice desk;
  FakeDevice metadata;
  FakeDevice wall;

  Computer() {
    desk.card = "Desk Camera: UVC";
    metadata.card = desk.card;
    metadata.gives_pictures = false;
    wall.card = "Wall Camera: UVC";
    for (FakeDevice* device : {&desk, &metadata, &wall}) {
      device->modes = {{V4L2_PIX_FMT_YUYV, 64, 48, {5}}};
    }
    for (const char* name : {"video0", "video1", "video10", "videos", "null"}) {
      write_text(folder / name, "");
    }
    std::filesystem::create_directory(folders.by_id);
    std::filesystem::create_symlink(path("video10"), folders.by_id / "usb-Wall_1234-video-index0");
  }
  [[nodiscard]] std::string path(const std::string& name) const { return (folder / name).string(); }
  DeviceCalls calls() {
    return calls_to({{path("video0"), &desk},
                     {path("video1"), &metadata},
                     {path("video10"), &wall},
                     {(folders.by_id / "usb-Wall_1234-video-index0").string(), &wall}});
  }
};

}  // namespace

TEST_SUITE("camera_list") {
  TEST_CASE("devices that give pictures are listed by number, with the name that lasts") {
    Computer computer;
    const auto cameras = list_cameras(computer.calls(), computer.folders);
    REQUIRE(cameras.size() == 2);
    CHECK(cameras[0].path == computer.path("video0"));
    CHECK(cameras[0].name == "Desk Camera: UVC");
    CHECK(cameras[0].lasting.empty());
    CHECK(cameras[1].path == computer.path("video10"));
    CHECK(cameras[1].lasting.ends_with("usb-Wall_1234-video-index0"));
  }

  TEST_CASE("a camera is found by number, by path and by part of its name") {
    Computer computer;
    const auto found = [&](const std::string& wanted) {
      return find_camera(wanted, computer.calls(), computer.folders).path;
    };
    CHECK(found("10") == computer.path("video10"));
    CHECK(found(computer.path("video0")) == computer.path("video0"));
    CHECK(found("wall") == computer.path("video10"));
    CHECK(found("DESK") == computer.path("video0"));
  }

  TEST_CASE("what is not there or not clear is refused with what there is") {
    Computer computer;
    const auto find = [&](const std::string& wanted) {
      static_cast<void>(find_camera(wanted, computer.calls(), computer.folders));
    };
    CHECK_THROWS_WITH_AS(find("7"), doctest::Contains("Wall Camera: UVC)"), InputError);
    CHECK_THROWS_WITH_AS(find("1"), doctest::Contains("no camera '1'"), InputError);  // metadata
    CHECK_THROWS_WITH_AS(find("uvc"), doctest::Contains("'uvc' fits 2 cameras"), InputError);
    CHECK_THROWS_WITH_AS(
        static_cast<void>(find_camera("0", calls_to({}), {computer.folder / "empty", {}})),
        doctest::Contains("plug one in"),
        InputError);
  }

  TEST_CASE("a camera that comes back under another number is found again") {
    Computer computer;
    const FakeClock clock;
    const auto before = calls_to({{computer.path("video0"), &computer.desk}});
    const auto after = calls_to({{computer.path("video10"), &computer.desk}});
    auto now = std::make_shared<DeviceCalls>(before);
    const DeviceCalls through{
        .open = [now](const std::string& path) { return now->open(path); },
        .close = [now](int device) { now->close(device); },
        .ioctl = [now](int device,
                       unsigned long request,
                       void* argument) { return now->ioctl(device, request, argument); },
        .map = [now](int device,
                     std::size_t length,
                     off_t offset) { return now->map(device, length, offset); },
        .unmap = [now](void* memory, std::size_t length) { now->unmap(memory, length); },
        .wait = [now](int device, int timeout_ms) { return now->wait(device, timeout_ms); }};
    const auto open = camera_opener(
        {.name = "0"}, clock, through, {computer.folder.path(), computer.folder / "none"});
    CHECK(open({})->facts().identity == computer.path("video0") + " Desk Camera: UVC");
    *now = after;
    CHECK(open({})->facts().identity == computer.path("video10") + " Desk Camera: UVC");
  }

  TEST_CASE("settings are refused for a stream, which has its own") {
    const FakeClock clock;
    CameraRequest request{.name = "http://127.0.0.1/video"};
    request.settings.gain = 3;
    CHECK_THROWS_WITH_AS(static_cast<void>(camera_opener(request, clock)),
                         doctest::Contains("are set where it is served"),
                         UsageError);
  }

  TEST_CASE("a camera that this user must not open is there, with what to do about it") {
    Computer computer;
    computer.desk.may_be_opened = false;
    const auto cameras = list_cameras(computer.calls(), computer.folders);
    REQUIRE(cameras.size() == 2);
    CHECK(cameras[0].name.find("add yourself to the group 'video'") != std::string::npos);
    CHECK_THROWS_WITH_AS(
        static_cast<void>(find_camera("0", computer.calls(), computer.folders)),
        doctest::Contains("not to be opened by you; add yourself to the group 'video'"),
        InputError);
  }
}
