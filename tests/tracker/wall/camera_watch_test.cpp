#include "tracker/wall/camera_watch.h"

#include <cmath>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::calibration::CameraMotion;

namespace {

constexpr double kPictureEvery_s = 5.0;
constexpr double kNoise_dn = 1.5;

/// The scale as the camera sees it after it moved, without noise.
cv::Mat wall_after(const CameraMotion& motion) {
  const cv::Size size(640, 360);
  const CameraPose pose{.yaw_rad = 0.04, .pitch_rad = 0.03, .focal_px = 550.0};
  const double a = motion.zoom * std::cos(motion.rotation_rad);
  const double b = motion.zoom * std::sin(motion.rotation_rad);
  const cv::Matx33d to_centre(1, 0, -319.5, 0, 1, -179.5, 0, 0, 1);
  const cv::Matx33d from_centre(1, 0, 319.5, 0, 1, 179.5, 0, 0, 1);
  const cv::Matx33d moved(a, -b, motion.shift_x_px, b, a, motion.shift_y_px, 0, 0, 1);
  const RenderOptions options{
      .size = size, .noise_dn = 0.0, .paper_dn = 120.0, .ink_dn = 20.0, .wall_dn = 70.0};
  return render_scale(from_centre * moved * to_centre * pixel_from_wall_matrix(pose, size),
                      options);
}

const cv::Mat& still_wall() {
  static const cv::Mat wall = wall_after({});
  return wall;
}

constexpr CameraMotion kKnock{.shift_x_px = 4.0, .shift_y_px = -2.5, .rotation_rad = 0.003};

const cv::Mat& knocked_wall() {
  static const cv::Mat wall = wall_after(kKnock);
  return wall;
}

/// A watch that is fed frame by frame and remembers what it said.
class Watched {
 public:
  Watched() {
    watch_.note_spot({SpotState::kFound, SpotPosition{320, 180, 0.02, 0.02, 200, 3}});
    watch_.start(with_noise(still_wall()));
  }

  void see(const cv::Mat& wall, int frames = 1) {
    for (int k = 0; k < frames; ++k) {
      const CameraWatch::Look look = watch_.look(with_noise(wall), kPictureEvery_s * frame_);
      if (look.row) rows.push_back(*look.row);
      if (look.moved) events.push_back(*look.moved);
      ++frame_;
    }
  }

  [[nodiscard]] int frame() const { return frame_; }
  [[nodiscard]] CameraWatch& watch() { return watch_; }
  [[nodiscard]] std::vector<double> steps_s() const {
    std::vector<double> times_s;
    for (const CameraRow& row : rows) {
      if (row.state == CameraState::kMoved) times_s.push_back(row.t_s);
    }
    return times_s;
  }

  std::vector<CameraRow> rows;
  std::vector<CameraWatch::Event> events;

 private:
  cv::Mat with_noise(const cv::Mat& wall) {
    cv::Mat noise(wall.size(), CV_16SC1);
    random_.fill(noise, cv::RNG::NORMAL, 0.0, kNoise_dn);
    cv::Mat picture;
    cv::add(wall, noise, picture, cv::noArray(), CV_8U);
    return picture;
  }

  cv::RNG random_{7};
  CameraWatch watch_;
  int frame_ = 0;
};

}  // namespace

TEST_SUITE("camera_watch") {
  TEST_CASE("a camera that stands still is looked at every 25 frames and never moves") {
    Watched night;
    night.see(still_wall(), 110);
    REQUIRE(night.rows.size() == 5);
    for (std::size_t k = 0; k < night.rows.size(); ++k) {
      CHECK(night.rows[k].t_s == kPictureEvery_s * 25.0 * static_cast<double>(k));
      CHECK(night.rows[k].state == CameraState::kRegistered);
      CHECK(night.rows[k].motion.shift_x_px == within_abs(0.0, 0.03));
    }
    CHECK(night.events.empty());
    CHECK(night.watch().failed() == 0);
  }

  TEST_CASE("looks are at least ten seconds apart, however many frames come") {
    CameraWatch watch;
    watch.start(still_wall());
    int looks = 0;
    for (int k = 0; k < 100; ++k) {
      if (watch.look(still_wall(), 0.04 * k).row) ++looks;
    }
    CHECK(looks == 1);
  }

  TEST_CASE("a knock is known from its own frame on, and told once, in words") {
    Watched night;
    night.see(still_wall(), 38);
    const double knock_s = kPictureEvery_s * night.frame();
    night.see(knocked_wall(), 60);
    CHECK(night.steps_s() == std::vector<double>{knock_s});
    REQUIRE(night.events.size() == 1);
    CHECK(night.events[0].t_s == knock_s);
    CHECK(night.events[0].detail.find("px to the right and 2.") != std::string::npos);
    CHECK(night.events[0].detail.find("px up, turned by 0.17") != std::string::npos);  // 0.003 rad
    CHECK(night.events[0].detail.find("degrees clockwise") != std::string::npos);
    const CameraMotion& last = night.rows.back().motion;
    CHECK(last.shift_x_px == within_abs(kKnock.shift_x_px, 0.03));
    CHECK(last.shift_y_px == within_abs(kKnock.shift_y_px, 0.03));
    CHECK(last.rotation_rad == within_abs(kKnock.rotation_rad, 1e-4));
    CHECK_FALSE(night.watch().finish());
  }

  TEST_CASE("a knock in the last frames is told at the end") {
    Watched night;
    night.see(still_wall(), 30);
    night.see(knocked_wall(), 2);
    CHECK(night.events.empty());
    const auto event = night.watch().finish();
    REQUIRE(event);
    CHECK(event->t_s == kPictureEvery_s * 30);
  }

  TEST_CASE("a camera that shakes for some frames and comes to rest was knocked once") {
    Watched night;
    night.see(still_wall(), 30);
    night.see(wall_after({.shift_x_px = 9.0}));
    night.see(wall_after({.shift_x_px = -3.0, .shift_y_px = 2.0}));
    night.see(wall_after({.shift_x_px = 5.0}));
    night.see(knocked_wall(), 40);
    REQUIRE(night.events.size() == 1);
    CHECK(night.events[0].t_s == kPictureEvery_s * 30);
    CHECK(night.events[0].detail.starts_with("the picture moved by 4.0"));
    CHECK(night.steps_s().size() == 4);
  }

  TEST_CASE("creep is followed, and is no knock") {
    Watched night;
    for (int k = 0; k < 24; ++k) {
      night.see(wall_after({.shift_x_px = 0.05 * k, .shift_y_px = 0.02 * k}), 5);
    }
    CHECK(night.steps_s().empty());
    CHECK(night.events.empty());
    REQUIRE(night.rows.size() == 5);
    CHECK(night.rows.back().motion.shift_x_px == within_abs(1.0, 0.03));  // frame 100: k = 20
  }

  TEST_CASE("somebody walking through, and a lamp, are no knock") {
    Watched night;
    night.see(still_wall(), 30);
    for (int x = 0; x < 640; x += 40) {
      cv::Mat wall = still_wall().clone();
      cv::rectangle(wall, cv::Rect(x - 60, 0, 120, 360), 15, cv::FILLED);
      night.see(wall);
    }
    cv::Mat lit;
    still_wall().convertTo(lit, CV_8U, 1.5, 20.0);
    night.see(lit, 30);
    CHECK(night.steps_s().empty());
    CHECK(night.events.empty());
    CHECK(is_registered(night.rows.back().state));
  }

  TEST_CASE("a view that is blocked is said, and what happened behind it is seen afterwards") {
    Watched night;
    night.see(still_wall(), 30);
    const cv::Mat blocked(still_wall().size(), CV_8UC1, cv::Scalar(60));
    night.see(blocked, 30);
    CHECK(night.rows.back().state == CameraState::kTooFewPatches);
    CHECK(night.watch().failed() > 0);
    const double back_s = kPictureEvery_s * night.frame();
    night.see(knocked_wall(), 30);
    CHECK(night.steps_s() == std::vector<double>{back_s});
    CHECK(night.events.size() == 1);
  }

  TEST_CASE("a blank wall is looked at and never known") {
    CameraWatch watch;
    const cv::Mat blank(360, 640, CV_8UC1, cv::Scalar(80));
    watch.start(blank);
    const auto look = watch.look(blank, 0.0);
    REQUIRE(look.row);
    CHECK(look.row->state == CameraState::kTooFewPatches);
    CHECK(look.row->patches == 0);
  }

  TEST_CASE("before the reference nothing is looked at") {
    CameraWatch watch;
    CHECK_FALSE(watch.is_started());
    CHECK_FALSE(watch.look(still_wall(), 0.0).row);
  }

  TEST_CASE("equal frames give equal looks") {
    const auto rows = [] {
      Watched night;
      night.see(still_wall(), 28);
      night.see(knocked_wall(), 30);
      return night.rows;
    };
    CHECK(rows() == rows());
  }
}
