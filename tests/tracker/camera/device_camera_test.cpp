// A V4L2 camera behind interposed system calls: device_camera, device_format, camera_settings.
#include "tracker/camera/device_camera.h"

#include <linux/videodev2.h>

#include <cerrno>
#include <memory>

#include <doctest/doctest.h>
#include <opencv2/imgcodecs.hpp>

#include "analysis/quantities/input_error.h"
#include "tests/support/fake_clock.h"
#include "tests/support/fake_device.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;

namespace {

constexpr std::chrono::milliseconds kGrabPatience{1};

/// A usual camera: small pictures uncompressed, large ones only slowly so.
FakeDevice usual_device() {
  FakeDevice device;
  device.modes = {{V4L2_PIX_FMT_YUYV, 64, 48, {30, 15, 10, 5}},
                  {V4L2_PIX_FMT_YUYV, 1280, 720, {10, 5}},
                  {V4L2_PIX_FMT_YUYV, 1920, 1080, {2}},
                  {V4L2_PIX_FMT_MJPEG, 1280, 720, {60, 30}},
                  {V4L2_PIX_FMT_MJPEG, 1920, 1080, {30, 15}}};
  device.controls = {{V4L2_CID_EXPOSURE_AUTO, {0, 3, 3}},
                     {V4L2_CID_EXPOSURE_ABSOLUTE, {1, 5000, 156}},
                     {V4L2_CID_EXPOSURE_AUTO_PRIORITY, {0, 1, 1}},
                     {V4L2_CID_GAIN, {0, 255, 64}},
                     {V4L2_CID_AUTO_WHITE_BALANCE, {0, 1, 1}},
                     {V4L2_CID_WHITE_BALANCE_TEMPERATURE, {2800, 6500, 4600}}};
  return device;
}

struct DeviceFixture {
  FakeClock clock;
  FakeDevice device = usual_device();
  DeviceCalls calls = calls_to({{"/dev/video0", &device}});

  std::unique_ptr<DeviceCamera> open(CameraSettings settings = {}) {
    return std::make_unique<DeviceCamera>(
        ListedCamera{"/dev/video0", device.card, ""}, settings, clock, calls);
  }
  static CameraSettings small() {
    CameraSettings settings;
    settings.width_px = 64;
    settings.height_px = 48;
    return settings;
  }
};

cv::Mat gray_ramp() {
  cv::Mat gray(48, 64, CV_8UC1);
  for (int y = 0; y < gray.rows; ++y) {
    for (int x = 0; x < gray.cols; ++x)
      gray.at<std::uint8_t>(y, x) = static_cast<uchar>(16 + 3 * x);
  }
  return gray;
}

}  // namespace

TEST_SUITE("device_camera") {
  TEST_CASE("an uncompressed format at the lowest sufficient rate is taken near 1280 x 720") {
    DeviceFixture set;
    const auto camera = set.open();
    CHECK(set.device.pixel_format == V4L2_PIX_FMT_YUYV);
    CHECK(set.device.width_px == 1280);
    CHECK(set.device.height_px == 720);
    CHECK(set.device.rate_Hz == 5);
    CHECK(camera->facts().format == "1280 x 720, YUYV, 5 pictures a second");
    CHECK(set.device.streaming);
  }

  TEST_CASE("where the uncompressed format is too slow, motion JPEG is taken") {
    DeviceFixture set;
    CameraSettings settings;
    settings.width_px = 1920;
    settings.height_px = 1080;
    const auto camera = set.open(settings);
    CHECK(camera->facts().format == "1920 x 1080, motion JPEG, 15 pictures a second");
  }

  TEST_CASE("a size that is not on offer is refused with the nearest that is") {
    DeviceFixture set;
    CameraSettings settings;
    settings.width_px = 800;
    settings.height_px = 600;
    CHECK_THROWS_WITH_AS(static_cast<void>(set.open(settings)),
                         doctest::Contains("no pictures of 800 x 600; the nearest it offers is"),
                         InputError);
    CHECK(set.device.closed == set.device.opened);
  }

  TEST_CASE("automatics are switched off before the values are set, and all is read back") {
    DeviceFixture set;
    CameraSettings settings;
    settings.exposure_s = 0.02;
    settings.gain = 10;
    settings.white_balance_K = 5000;
    const auto camera = set.open(settings);
    // Exposure in steps of 100 us: Linux kernel documentation, V4L2_CID_EXPOSURE_ABSOLUTE.
    const std::vector<std::pair<std::uint32_t, int>> expected{
        {V4L2_CID_EXPOSURE_AUTO, V4L2_EXPOSURE_APERTURE_PRIORITY},
        {V4L2_CID_EXPOSURE_AUTO, V4L2_EXPOSURE_MANUAL},
        {V4L2_CID_EXPOSURE_AUTO_PRIORITY, 0},
        {V4L2_CID_AUTO_WHITE_BALANCE, 0},
        {V4L2_CID_EXPOSURE_ABSOLUTE, 200},
        {V4L2_CID_GAIN, 10},
        {V4L2_CID_WHITE_BALANCE_TEMPERATURE, 5000}};
    CHECK((set.device.set == expected));
    CHECK(camera->facts().refused.empty());
    CHECK(text_of(camera->settings()) ==
          "exposure 20 ms, gain 10, white balance 5000 K, automatic exposure off, slower in the "
          "dark off, automatic white balance off");
  }

  TEST_CASE("what a device has not or cannot is said, what it takes differently too") {
    DeviceFixture set;
    CameraSettings focus;
    focus.focus = 30;
    CHECK_THROWS_WITH_AS(static_cast<void>(set.open(focus)),
                         "this camera has no control of its focus; leave that option out",
                         InputError);
    CameraSettings bright;
    bright.exposure_s = 2.0;
    CHECK_THROWS_WITH_AS(static_cast<void>(set.open(bright)),
                         "exposure 2000 ms is not within what this camera can do, 0.1 ms to 500 ms",
                         InputError);
    set.device.controls[V4L2_CID_GAIN].settable = false;
    set.device.controls[V4L2_CID_AUTO_WHITE_BALANCE] = {0, 1, 1, false};
    CameraSettings gain;
    gain.gain = 10;
    const auto camera = set.open(gain);
    REQUIRE(camera->facts().refused.size() == 2);
    CHECK(camera->facts().refused[0] == "gain 10 was asked for; the camera says 64");
    CHECK(camera->facts().refused[1] == "automatic white balance cannot be switched off");
  }

  TEST_CASE("the automatics stay on if they are wanted") {
    DeviceFixture set;
    CameraSettings settings;
    settings.automatic = true;
    const auto camera = set.open(settings);
    CHECK(set.device.set.empty());
  }

  TEST_CASE("of pictures that wait the newest is given, with the driver's time") {
    DeviceFixture set;
    set.clock.slept_s = 400.0;  // the two clocks differ by the sleep of the computer
    const auto camera = set.open(DeviceFixture::small());
    const cv::Mat ramp = gray_ramp();
    set.device.take_picture(yuyv(cv::Mat::zeros(48, 64, CV_8UC1) + 40), 599.70);
    set.device.take_picture(yuyv(cv::Mat::zeros(48, 64, CV_8UC1) + 80), 599.80);
    set.device.take_picture(yuyv(ramp), 599.90);
    REQUIRE(camera->grab(kGrabPatience, {}) == Grab::kPicture);
    // now is 600.0 by the driver's clock: 0.1 s old; microseconds of the stamp
    CHECK(camera->grabbed_steady_s() == within_abs(999.90, 2e-6));
    cv::Mat picture;
    REQUIRE(camera->retrieve(picture));
    // ITU-R BT.601: luma 16 is black, 235 white.
    for (const int x : {0, 20, 50}) {
      const double expected = (ramp.at<std::uint8_t>(7, x) - 16) * 255.0 / 219.0;
      CHECK(picture.at<cv::Vec3b>(7, x)[1] == within_abs(expected, 1.0));  // rounding
    }
    CHECK(camera->grab(kGrabPatience, {}) == Grab::kNothing);  // nothing twice
    CHECK(camera->facts().time_from.find("driver's time") != std::string::npos);
  }

  TEST_CASE("buffers go round: a hundred pictures, none lost, none given twice") {
    DeviceFixture set;
    const auto camera = set.open(DeviceFixture::small());
    for (int k = 0; k < 100; ++k) {
      set.clock.now_s = 1000.0 + 0.2 * k;
      set.device.take_picture(yuyv(cv::Mat::zeros(48, 64, CV_8UC1) + 16 + k), set.clock.now_s);
      REQUIRE(camera->grab(kGrabPatience, {}) == Grab::kPicture);
      cv::Mat picture;
      REQUIRE(camera->retrieve(picture));
      CHECK(picture.at<cv::Vec3b>(0, 0)[0] == within_abs(k * 255.0 / 219.0, 1.0));
    }
  }

  TEST_CASE("a timestamp of another clock is not believed") {
    for (const bool stale : {false, true}) {
      DeviceFixture set;
      const auto camera = set.open(DeviceFixture::small());
      set.device.timestamp_flag = stale ? 0x2000U : 0U;  // monotonic, but of long ago; unknown
      set.device.take_picture(yuyv(gray_ramp()), stale ? 17.0 : 999.99);
      REQUIRE(camera->grab(kGrabPatience, {}) == Grab::kPicture);
      CHECK(camera->grabbed_steady_s() == 1000.0);
      CHECK(camera->facts().time_from.find("no time of capture") != std::string::npos);
    }
  }

  TEST_CASE("damaged pictures are passed over, and their buffers used again") {
    DeviceFixture set;
    const auto camera = set.open(DeviceFixture::small());
    for (int k = 0; k < 10; ++k) {
      set.device.take_picture(yuyv(gray_ramp()), 1000.0, true);
      CHECK(camera->grab(kGrabPatience, {}) == Grab::kDamaged);
    }
    set.device.take_picture(yuyv(gray_ramp()), 1000.0);
    CHECK(camera->grab(kGrabPatience, {}) == Grab::kPicture);
    set.device.take_picture({1, 2, 3}, 1000.0);  // cut short
    REQUIRE(camera->grab(kGrabPatience, {}) == Grab::kPicture);
    cv::Mat picture;
    CHECK_FALSE(camera->retrieve(picture));
  }

  TEST_CASE("motion JPEG without the tables that cameras leave out is decoded") {
    DeviceFixture set;
    set.device.modes = {{V4L2_PIX_FMT_MJPEG, 64, 48, {15}}};
    const auto camera = set.open();
    std::vector<std::uint8_t> jpeg;
    REQUIRE(cv::imencode(".jpg", gray_ramp(), jpeg));
    // DHT segments (marker FF C4, then their length): ITU-T T.81, B.2.4.2.
    std::vector<std::uint8_t> bare(jpeg.begin(), jpeg.begin() + 2);
    std::size_t at = 2;
    int left_out = 0;
    while (jpeg.at(at + 1) != 0xDA) {
      const std::size_t length = 2U + 256U * jpeg.at(at + 2) + jpeg.at(at + 3);
      if (jpeg.at(at + 1) == 0xC4) {
        ++left_out;
      } else {
        bare.insert(bare.end(),
                    jpeg.begin() + static_cast<long>(at),
                    jpeg.begin() + static_cast<long>(at + length));
      }
      at += length;
    }
    REQUIRE(left_out > 0);
    bare.insert(bare.end(), jpeg.begin() + static_cast<long>(at), jpeg.end());
    set.device.take_picture(bare, 1000.0);
    REQUIRE(camera->grab(kGrabPatience, {}) == Grab::kPicture);
    cv::Mat picture;
    REQUIRE(camera->retrieve(picture));
    cv::Mat gray;
    cv::extractChannel(picture, gray, 1);
    CHECK(cv::norm(gray, gray_ramp(), cv::NORM_INF) <= 4.0);  // JPEG of quality 95
  }

  TEST_CASE("a JPEG with bytes too many is decoded, one that is cut off is damaged") {
    DeviceFixture set;
    set.device.modes = {{V4L2_PIX_FMT_MJPEG, 64, 48, {15}}};
    const auto camera = set.open();
    std::vector<std::uint8_t> whole;
    REQUIRE(cv::imencode(".jpg", gray_ramp(), whole));
    std::vector<std::uint8_t> longer = whole;
    longer.insert(longer.end() - 2, {0, 0});  // before the end marker, as cheap cameras send it
    const std::vector<std::uint8_t> half(whole.begin(),
                                         whole.begin() + static_cast<long>(whole.size() * 3 / 4));
    for (const auto& [bytes, is_sound] : {std::pair{longer, true}, {half, false}, {whole, true}}) {
      set.device.take_picture(bytes, 1000.0);
      REQUIRE(camera->grab(kGrabPatience, {}) == Grab::kPicture);
      cv::Mat picture;
      REQUIRE(camera->retrieve(picture) == is_sound);
      if (!is_sound) continue;
      cv::Mat gray;
      cv::extractChannel(picture, gray, 1);
      CHECK(cv::norm(gray, gray_ramp(), cv::NORM_INF) <= 4.0);  // JPEG of quality 95
    }
  }

  TEST_CASE("an unplugged camera is gone, and everything is given back") {
    DeviceFixture set;
    {
      const auto camera = set.open(DeviceFixture::small());
      CHECK(set.device.mapped == 4);
      set.device.unplugged = true;
      CHECK(camera->grab(kGrabPatience, {}) == Grab::kGone);
      CHECK(camera->fault() == "it was unplugged");
    }
    CHECK(set.device.mapped == 0);
    CHECK(set.device.opened == set.device.closed);
  }

  TEST_CASE("a full USB connection and a camera in use are told in their own words") {
    DeviceFixture set;
    set.device.stream_on_fault = ENOSPC;
    CHECK_THROWS_WITH_AS(static_cast<void>(set.open()),
                         doctest::Contains("the USB connection of /dev/video0 has no room"),
                         InputError);
    set.device.stream_on_fault = EBUSY;
    CHECK_THROWS_WITH_AS(static_cast<void>(set.open()),
                         doctest::Contains("another program is using the camera /dev/video0"),
                         InputError);
    CHECK(set.device.opened == set.device.closed);
    CHECK(set.device.mapped == 0);
  }

  TEST_CASE("a camera that nothing can be read from is refused") {
    DeviceFixture set;
    set.device.modes = {{V4L2_PIX_FMT_H264, 1280, 720, {30}}};
    CHECK_THROWS_WITH_AS(static_cast<void>(set.open()),
                         doctest::Contains("offers no pictures that can be read here"),
                         InputError);
  }
}
