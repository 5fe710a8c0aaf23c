#include "calibration/motion/frame_registration.h"

#include <cmath>
#include <numbers>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/calibration/scale/rendered_scale.h"
#include "tests/calibration/usual_frame.h"
#include "tests/support/near.h"

using namespace nightswing::calibration;
using namespace nightswing::test;

namespace {

// What is asked for: a tenth of what a phone's compressed film does to the spot itself.
constexpr double kShift_px = 0.02;
constexpr double kTurn_rad = 1e-4;

/// The scale seen by a camera that has moved since: rendered anew, not a warped picture.
cv::Mat picture_after(const CameraMotion& motion, std::uint64_t seed, bool blank = false) {
  const CameraPose pose{.yaw_rad = 0.05, .pitch_rad = 0.03, .roll_rad = 0.01};
  const PixelPoint c = picture_centre(kFrame);
  const double a = motion.zoom * std::cos(motion.rotation_rad);
  const double b = motion.zoom * std::sin(motion.rotation_rad);
  const cv::Matx33d to_centre(1, 0, -c.x_px, 0, 1, -c.y_px, 0, 0, 1);
  const cv::Matx33d from_centre(1, 0, c.x_px, 0, 1, c.y_px, 0, 0, 1);
  const cv::Matx33d moved(a,
                          -b,
                          motion.shift_x_px,
                          b,
                          a,
                          motion.shift_y_px,
                          motion.keystone_x_per_px,
                          motion.keystone_y_per_px,
                          1);
  const cv::Size size(kFrame.width_px, kFrame.height_px);
  RenderOptions options{.noise_dn = 2.0, .paper_dn = 130.0, .ink_dn = 20.0, .wall_dn = 75.0};
  if (blank) options.paper_dn = options.ink_dn = options.wall_dn;
  options.seed = seed;
  return render_scale(from_centre * moved * to_centre * pixel_from_wall_matrix(pose, size),
                      options);
}

const cv::Mat& reference() {
  static const cv::Mat picture = picture_after({}, 1);
  return picture;
}

void add_light(cv::Mat& picture, PixelPoint centre, double peak_dn, double sigma_px) {
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols; ++x) {
      const double r2 = std::pow(x - centre.x_px, 2) + std::pow(y - centre.y_px, 2);
      if (r2 > 36.0 * sigma_px * sigma_px) continue;
      auto& value = picture.at<unsigned char>(y, x);
      value = cv::saturate_cast<unsigned char>(
          value + peak_dn * std::exp(-0.5 * r2 / (sigma_px * sigma_px)));
    }
  }
}

void check_is(const Registration& found, const CameraMotion& truth) {
  REQUIRE(found.status == RegistrationStatus::kRegistered);
  CHECK(found.motion.shift_x_px == within_abs(truth.shift_x_px, kShift_px));
  CHECK(found.motion.shift_y_px == within_abs(truth.shift_y_px, kShift_px));
  CHECK(found.motion.rotation_rad == within_abs(truth.rotation_rad, kTurn_rad));
  // 1e-4 of 640 px, as the turn
  CHECK(found.motion.zoom == within_abs(truth.zoom, 1e-4));
  CHECK(found.u_shift_px < kShift_px);
}

}  // namespace

TEST_SUITE("frame_registration") {
  TEST_CASE("a small motion of any kind is found to a fiftieth of a pixel") {
    FrameRegistration registration(reference(), {});
    CHECK(registration.patches() > 36);  // the scale covers a good quarter of the 144 cells
    const std::vector<CameraMotion> motions{
        {},
        {.shift_x_px = 0.37, .shift_y_px = -0.62},
        {.shift_x_px = -0.5, .shift_y_px = 0.25, .rotation_rad = 1e-3, .zoom = 1.0005},
        {.shift_x_px = 1.3,
         .shift_y_px = 0.8,
         .rotation_rad = -5e-4,
         .zoom = 0.9995,
         .keystone_x_per_px = -6e-7,
         .keystone_y_per_px = 4e-7}};
    for (std::size_t k = 0; k < motions.size(); ++k) {
      CAPTURE(k);
      check_is(registration.find(picture_after(motions[k], 10 + k), {}, {}), motions[k]);
    }
  }

  TEST_CASE("a knock of thirty pixels and two degrees is found as well") {
    FrameRegistration registration(reference(), {});
    const CameraMotion knock{.shift_x_px = 24.0,
                             .shift_y_px = -18.0,
                             .rotation_rad = 2.0 * std::numbers::pi / 180.0,
                             .zoom = 1.003};
    const cv::Mat picture = picture_after(knock, 20);
    check_is(registration.find(picture, {}, {}), knock);
    // and from then on without a search
    const auto glances = registration.glance(picture, {}, knock);
    REQUIRE(glances.front());
    CHECK(std::abs(glances.front()->x_px) < 0.3);  // good to a tenth, for a look
  }

  TEST_CASE("a bright spot that moves, left out with its halo, does not matter") {
    const CameraMotion motion{.shift_x_px = 0.4, .shift_y_px = 0.3, .rotation_rad = 2e-4};
    const PixelPoint then{500, 330};
    const PixelPoint now{580, 240};
    cv::Mat first = reference().clone();
    add_light(first, then, 300.0, 5.0);
    add_light(first, then, 10.0, 17.0);
    cv::Mat picture = picture_after(motion, 21);
    add_light(picture, now, 300.0, 5.0);
    add_light(picture, now, 10.0, 17.0);
    FrameRegistration registration(first, std::vector<IgnoredCircle>{{then, 60.0}});
    const std::vector<IgnoredCircle> spot{{now, 60.0}};
    check_is(registration.find(picture, spot, {}), motion);
  }

  TEST_CASE("a spot that nobody names is outvoted") {
    const CameraMotion motion{.shift_x_px = -0.6, .shift_y_px = 0.2};
    FrameRegistration registration(reference(), {});
    cv::Mat picture = picture_after(motion, 22);
    add_light(picture, {420, 500}, 300.0, 5.0);
    check_is(registration.find(picture, {}, {}), motion);
  }

  TEST_CASE("a dark person before a third of the picture does not matter") {
    const CameraMotion motion{.shift_x_px = 0.7, .shift_y_px = -0.4, .rotation_rad = -3e-4};
    FrameRegistration registration(reference(), {});
    const Registration whole = registration.find(picture_after(motion, 23), {}, {});
    cv::Mat picture = picture_after(motion, 23);
    cv::rectangle(picture, cv::Rect(300, 0, 427, 720), 12, cv::FILLED);
    const Registration found = registration.find(picture, {}, {});
    check_is(found, motion);
    CHECK(found.patches < whole.patches);
  }

  TEST_CASE("a lamp does not matter: half as bright again, and twenty counts more") {
    const CameraMotion motion{.shift_x_px = 0.2, .shift_y_px = 0.5, .rotation_rad = 1e-4};
    FrameRegistration registration(reference(), {});
    cv::Mat picture;
    picture_after(motion, 24).convertTo(picture, CV_8U, 1.5, 20.0);
    check_is(registration.find(picture, {}, {}), motion);
    picture_after(motion, 25).convertTo(picture, CV_8U, 0.4);
    check_is(registration.find(picture, {}, {}), motion);
  }

  TEST_CASE("colour pictures are registered by their luma") {
    const CameraMotion motion{.shift_x_px = 0.45, .shift_y_px = -0.35};
    cv::Mat first;
    cv::Mat picture;
    cv::cvtColor(reference(), first, cv::COLOR_GRAY2BGR);
    cv::cvtColor(picture_after(motion, 26), picture, cv::COLOR_GRAY2BGR);
    FrameRegistration registration(first, {});
    check_is(registration.find(picture, {}, {}), motion);
  }

  TEST_CASE("a blank wall has too few patches") {
    FrameRegistration registration(picture_after({}, 27, true), {});
    CHECK(registration.patches() == 0);
    const Registration found = registration.find(picture_after({}, 28, true), {}, {});
    CHECK(found.status == RegistrationStatus::kTooFewPatches);
  }

  TEST_CASE("a view that is blocked, or dark, has too few patches") {
    FrameRegistration registration(reference(), {});
    cv::Mat picture(reference().size(), CV_8UC1, cv::Scalar(90));
    CHECK(registration.find(picture, {}, {}).status == RegistrationStatus::kTooFewPatches);
    picture = 0;
    CHECK(registration.find(picture, {}, {}).status == RegistrationStatus::kTooFewPatches);
    for (const auto& glance : registration.glance(picture, {}, {})) CHECK_FALSE(glance);
  }

  TEST_CASE("a picture that moved differently in its parts is inconsistent") {
    FrameRegistration registration(reference(), {});
    cv::Mat picture = picture_after({}, 29);
    for (int k = 0; k < 4; ++k) {
      const cv::Rect strip(0, k * 180, 1280, 180);
      picture_after({.shift_x_px = 1.3 * k - 2.0}, 30)(strip).copyTo(picture(strip));
    }
    const Registration found = registration.find(picture, {}, {});
    CHECK(found.status == RegistrationStatus::kInconsistent);
  }

  TEST_CASE("no place between pixels is favoured") {
    for (const double shift_px : {0.1, 0.25, 0.75}) {
      CAPTURE(shift_px);
      double error_px = 0.0;
      for (std::uint64_t k = 0; k < 4; ++k) {
        FrameRegistration registration(picture_after({}, 80 + k), {});
        const cv::Mat picture = picture_after({.shift_x_px = shift_px}, 90 + k);
        error_px += (registration.find(picture, {}, {}).motion.shift_x_px - shift_px) / 4.0;
      }
      // The mean of four is known to 0.002 px; interpolating cubics are off by 0.012 px here.
      CHECK(std::abs(error_px) < 0.006);
    }
  }

  TEST_CASE("the stated uncertainty is that of many pictures") {
    const CameraMotion motion{.shift_x_px = 0.31, .shift_y_px = -0.47};
    double squares = 0.0;
    constexpr int kPictures = 12;
    for (std::uint64_t k = 0; k < kPictures; ++k) {
      // The noise of the reference counts as well, so each has its own.
      FrameRegistration registration(picture_after({}, 70 + k), {});
      const Registration found = registration.find(picture_after(motion, 50 + k), {}, {});
      REQUIRE(found.status == RegistrationStatus::kRegistered);
      squares += std::pow((found.motion.shift_x_px - motion.shift_x_px) / found.u_shift_px, 2) +
                 std::pow((found.motion.shift_y_px - motion.shift_y_px) / found.u_shift_px, 2);
    }
    // The width of 24 pulls is known to 1/sqrt(48) = 0.14.
    CHECK(std::sqrt(squares / (2 * kPictures)) == within_abs(1.0, 0.45));
  }

  TEST_CASE("equal pictures give equal results, bit for bit") {
    const cv::Mat picture = picture_after({.shift_x_px = 8.0, .rotation_rad = 0.01}, 31);
    FrameRegistration one(reference(), {});
    FrameRegistration other(reference(), {});
    const Registration a = one.find(picture, {}, {});
    const Registration b = other.find(picture, {}, {});
    CHECK(a.motion == b.motion);
    CHECK(a.covariance == b.covariance);
    CHECK(a.patches == b.patches);
  }

  TEST_CASE("a glance sees what moved, without a search") {
    const FrameRegistration registration(reference(), {});
    const cv::Mat picture = picture_after({.shift_x_px = 0.5, .shift_y_px = -0.3}, 32);
    std::size_t seen = 0;
    for (const auto& glance : registration.glance(picture, {}, {})) {
      if (!glance) continue;
      ++seen;
      CHECK(glance->x_px == within_abs(0.5, 0.15));  // one step: a tenth, and noise
      CHECK(glance->y_px == within_abs(-0.3, 0.15));
    }
    CHECK(seen >= 8);
  }

  TEST_CASE("another size or kind of picture is a mistake of the caller") {
    FrameRegistration registration(reference(), {});
    const cv::Mat small(100, 100, CV_8UC1, cv::Scalar(0));
    CHECK_THROWS_AS(static_cast<void>(registration.find(small, {}, {})), std::invalid_argument);
    CHECK_THROWS_AS(FrameRegistration(cv::Mat(), {}), std::invalid_argument);
    CHECK_THROWS_AS(FrameRegistration(cv::Mat(9, 9, CV_32FC1), {}), std::invalid_argument);
  }
}
