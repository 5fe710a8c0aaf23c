// What goes wrong with a printed scale at home: each time the right answer, or one sentence.

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/calibration/scale/scale_trial.h"
#include "tests/support/near.h"

namespace nightswing::test {
namespace {

/// One page from the side and a little from above, through a barrel lens.
ScaleTrial usual_trial() {
  ScaleTrial trial;
  trial.pose = {.yaw_rad = 0.25, .pitch_rad = -0.2, .roll_rad = 0.03};
  trial.options.lens = {-0.08, {6.0, -4.0}};
  return trial;
}

calibration::PixelPoint pixel_of(const ScaleTrial& trial, calibration::WallPoint wall) {
  return seen_at(pixel_from_wall_matrix(trial.pose, trial.options.size), trial.options, wall);
}

bool uses_marker(const ScaleOutcome& outcome, int id) {
  return std::ranges::any_of(outcome.map.references,
                             [id](const auto& r) { return r.point.marker == id; });
}

/// Right: within four of its uncertainties, and these of use. One view in 16,000 misses the first
/// by chance.
void check_right(const ScaleOutcome& outcome) {
  INFO(outcome.message, "; error ", outcome.error, ", u ", outcome.u);
  REQUIRE(outcome.mapped);
  CHECK(std::abs(outcome.error) < 4.0 * outcome.u);
  CHECK(std::abs(outcome.inner_error) < 4.0 * outcome.inner_u);
  CHECK(outcome.u < 5e-4);  // asked for: a scale factor within 0.05 %
}

}  // namespace

TEST_SUITE_BEGIN("scale faults");

TEST_CASE("poor pictures of the scale give the right map") {
  ScaleTrial trial = usual_trial();
  SUBCASE("out of focus") {
    trial.options.blur_px = 2.0;
  }
  SUBCASE("from 45 degrees beside") {
    trial.pose.yaw_rad = 0.785;
    trial.pose.pitch_rad = 0.0;
  }
  SUBCASE("in a dark room") {
    trial.options.paper_dn = 40.0;
    trial.options.ink_dn = 5.0;
    trial.options.wall_dn = 24.0;
    trial.options.noise_dn = 4.0;
  }
  SUBCASE("a hand over some markers") {
    trial.options.covered = {{300, 380, 260, 340}};
  }
  SUBCASE("half out of the picture") {
    trial.pose.aim = {60.0, 60.0};
  }
  SUBCASE("beside a page of print and over graph paper") {
    trial.options.clutter = true;
    trial.pose.distance_mm = 500.0;
  }
  SUBCASE("glare over a part") {
    trial.options.lights = {{pixel_of(trial, {100.0, 60.0}), 120.0, 150.0}};
  }
  SUBCASE("as a film stores it") {
    trial.film_frames = 4;
  }
  check_right(run_trial(trial));
}

// Two views of the bench with 40 gray values of contrast, noise of 5 to 6 and cells of 3 blurs,
// whose corners scatter by 0.6 px.
TEST_CASE("a dim and blurred picture of a flat scale is not taken for a bent one") {
  for (const int view : {21, 119}) {
    cv::RNG random(20250117);
    ScaleTrial trial;
    for (int i = 0; i <= view; ++i) trial = random_trial(random, 2, std::numbers::pi / 4.0);
    trial.options.joint.larger = 0.0;
    trial.options.joint.near_mm = trial.options.joint.far_mm = 0.0;
    const ScaleOutcome outcome = run_trial(trial);
    INFO(view, ": ", outcome.message, "; error ", outcome.error, ", u ", outcome.u);
    REQUIRE(outcome.mapped);
    CHECK(std::abs(outcome.error) < 4.0 * outcome.u);
  }
}

TEST_CASE("a bright spot on a marker costs that marker at most") {
  ScaleTrial trial = usual_trial();
  SUBCASE("in its middle") {
    trial.options.lights = {{pixel_of(trial, {100.0, 80.0}), 8.0, 400.0}};
  }
  SUBCASE("on its edge") {
    trial.options.lights = {{pixel_of(trial, {88.0, 80.0}), 6.0, 400.0}};
  }
  const ScaleOutcome outcome = run_trial(trial);
  check_right(outcome);
  for (const int id : {0, 1, 2, 3, 4, 6, 7, 8, 9, 10, 11}) CHECK(uses_marker(outcome, id));
}

TEST_CASE("upside down the scale is read, with x decreasing to the right") {
  ScaleTrial trial = usual_trial();
  trial.pose.roll_rad = 3.1;
  const ScaleOutcome outcome = run_trial(trial);
  check_right(outcome);
  CHECK(calibration::jacobian(outcome.map, {640.0, 360.0})(0, 0) < 0.0);
}

TEST_CASE("without a scale, print and graph paper are not taken for one") {
  ScaleTrial trial = usual_trial();
  trial.options.columns = 0;
  trial.options.clutter = true;
  const ScaleOutcome outcome = run_trial(trial);
  CHECK_FALSE(outcome.mapped);
  CHECK(outcome.message.find("no marker of the printed scale was found") != std::string::npos);
}

TEST_CASE("two scales and mirrored ones are refused in one sentence") {
  ScaleTrial trial = usual_trial();
  trial.pose.distance_mm = 700.0;
  const cv::Mat picture = picture_of(trial);
  cv::Mat changed;
  std::string reason;
  SUBCASE("two") {
    cv::hconcat(picture, picture, changed);
    reason = "there are two scales";
  }
  SUBCASE("mirrored") {
    cv::flip(picture, changed, 1);
    reason = "mirrored";
  }
  const ScaleOutcome outcome = judge_picture(trial, changed);
  CHECK_FALSE(outcome.mapped);
  CHECK(outcome.message.find(reason) != std::string::npos);
}

TEST_CASE("a gap between two pages is found, told and allowed for") {
  ScaleTrial trial = usual_trial();
  trial.pose.distance_mm = 560.0;
  trial.options.columns = 12;
  trial.pose.aim = {240.0, 25.0};
  int first_page_columns = 6;
  SUBCASE("landscape pages") {
    trial.options.joint = {.first_column = 6, .right_mm = 1.4};
  }
  SUBCASE("portrait pages") {
    first_page_columns = 4;
    trial.options.columns = 8;
    trial.pose.aim = {160.0, 25.0};
    trial.options.joint = {.first_column = 4, .right_mm = 1.4};
  }
  const ScaleOutcome outcome = run_trial(trial);
  check_right(outcome);
  CHECK(outcome.message ==
        "page 2 seems to lie 1.4 mm further right than printed, which the map allows for");
  REQUIRE(outcome.map.pages.size() == 1);
  CHECK(outcome.map.pages.front().pivot.x_mm > 40.0 * first_page_columns);
}

TEST_CASE("pages that join well need no word") {
  ScaleTrial trial = usual_trial();
  trial.pose.distance_mm = 560.0;
  trial.options.columns = 12;
  trial.pose.aim = {240.0, 25.0};
  const ScaleOutcome outcome = run_trial(trial);
  check_right(outcome);
  CHECK(outcome.message.empty());
}

/// Two pages before a camera 560 mm away, the second off the wall.
ScaleTrial off_wall_trial(double near_mm, double far_mm) {
  ScaleTrial trial = usual_trial();
  trial.pose = {.pitch_rad = -0.2, .roll_rad = 0.03, .distance_mm = 560.0, .aim = {240.0, 25.0}};
  trial.options.columns = 12;
  trial.options.joint.near_mm = near_mm;
  trial.options.joint.far_mm = far_mm;
  trial.options.eye_mm = eye_of(trial.pose);
  return trial;
}

// What stands h off the wall before a camera at the distance D seems larger by h / (D - h): 0.9 %
// for 5 mm at 560 mm (similar triangles). A map is not wrong if it is refused, or if its error is
// within three of its uncertainties and these come with a word where they are beyond the aim of
// 0.05 %.
TEST_CASE("a second page that stands off the wall is refused, or told of and doubted") {
  SUBCASE("by 5 or 20 mm all over: refused, and why") {
    for (const double lift_mm : {5.0, 20.0}) {
      const ScaleOutcome outcome = run_trial(off_wall_trial(lift_mm, lift_mm));
      INFO(lift_mm, " mm: ", outcome.message);
      CHECK_FALSE(outcome.mapped);
      CHECK(outcome.message.find("off the wall") != std::string::npos);
      CHECK(outcome.message.find("tape both flat") != std::string::npos);
    }
  }
  SUBCASE("by 1 mm all over: told, and by the difference of the sizes doubted") {
    const ScaleOutcome outcome = run_trial(off_wall_trial(1.0, 1.0));
    REQUIRE(outcome.mapped);
    CHECK(outcome.message.find("0.18 % larger than the first") != std::string::npos);
    CHECK(std::abs(outcome.error) < outcome.u);
    CHECK(std::abs(outcome.inner_error) < 3.0 * outcome.inner_u);
    CHECK(outcome.u < 1.6e-3);  // h / D over the root of 2, and little more
  }
  SUBCASE("hinged at the joint or at its far end") {
    for (const double lift_mm : {5.0, 20.0}) {
      for (const bool at_joint : {true, false}) {
        const ScaleOutcome outcome =
            run_trial(at_joint ? off_wall_trial(0.0, lift_mm) : off_wall_trial(lift_mm, 0.0));
        INFO(lift_mm,
             " mm, at the joint ",
             at_joint,
             ": ",
             outcome.message,
             "; error ",
             outcome.error,
             ", u ",
             outcome.u);
        if (!outcome.mapped) continue;
        CHECK(std::abs(outcome.error) < 3.0 * outcome.u);
        CHECK((outcome.u < 5e-4 || !outcome.message.empty()));
      }
    }
  }
}

TEST_CASE("pages printed to different sizes are doubted by the difference") {
  ScaleTrial trial = off_wall_trial(0.0, 0.0);
  trial.options.joint.larger = 2e-3;
  const ScaleOutcome outcome = run_trial(trial);
  REQUIRE(outcome.mapped);
  REQUIRE(outcome.map.pages.size() == 1);
  const auto& page = outcome.map.pages.front();
  CHECK(page.larger_relative == within_abs(2e-3, 4.0 * page.u_larger_relative));
  // Either sheet may be the true one, so that the error is 0 or 2e-3: that over the root of 2. What
  // the sheets may stand off unseen adds 5e-4 at most, in squares.
  CHECK(outcome.u > 1.4e-3);
  CHECK(outcome.u < 1.55e-3);
}

// Nothing in a picture tells a tilted sheet from a tilted camera; what is measured on the paper is
// right all the same.
// The far end of the path, at x = 384 mm, is seen by a camera 0.48 m to its left and as far from
// the wall: it is displaced by as much as it stands off, 0.3 of 288 mm. Without the doubt about
// heights the error would be more than twice the uncertainty.
TEST_CASE("a sheet that stands off by tenths of a millimetre is allowed for unseen") {
  ScaleTrial trial = usual_trial();
  trial.pose = {.yaw_rad = -0.6, .pitch_rad = -0.2, .distance_mm = 600.0, .aim = {240.0, 25.0}};
  trial.options.columns = 12;
  trial.options.eye_mm = eye_of(trial.pose);
  for (const double height_mm : {-0.3, 0.3}) {
    trial.options.joint.near_mm = trial.options.joint.far_mm = height_mm;
    const ScaleOutcome outcome = run_trial(trial);
    INFO(height_mm, " mm: error ", outcome.error, ", u ", outcome.u);
    REQUIRE(outcome.mapped);
    CHECK(outcome.error * height_mm > 0.0);
    CHECK(std::abs(outcome.error) == within_abs(1e-3, 3e-4));
    CHECK(std::abs(outcome.error) < 2.0 * outcome.u);
    CHECK(std::abs(outcome.inner_error) < 3.0 * outcome.inner_u);
    CHECK(outcome.u < 1.2e-3);
  }
}

TEST_CASE("a flat sheet that is tilted against the wall gives millimetres on the paper") {
  ScaleTrial trial = usual_trial();
  trial.options.bulge.end_mm = 10.0;
  trial.options.eye_mm = eye_of(trial.pose);
  check_right(run_trial(trial));
}

TEST_CASE("a sheet that bulges off the wall is refused, or told of") {
  ScaleTrial trial = usual_trial();
  trial.options.eye_mm = eye_of(trial.pose);
  SUBCASE("by 3 mm, from the side: told, and still within 0.5 %") {
    trial.pose = {.yaw_rad = -0.21, .pitch_rad = 0.31};
    trial.options.eye_mm = eye_of(trial.pose);
    trial.options.bulge.middle_mm = 3.0;
    const ScaleOutcome outcome = run_trial(trial);
    REQUIRE(outcome.mapped);
    CHECK(outcome.message.find("off one flat wall") != std::string::npos);
    // A ridge of 3 mm at 330 mm is seen larger by 0.9 %, and the outer markers, at half the height,
    // by about half of it.
    CHECK(std::abs(outcome.error) < 5e-3);
    CHECK(outcome.u > 3e-4);
  }
  SUBCASE("by 10 mm: refused") {
    trial.options.bulge.middle_mm = 10.0;
    const ScaleOutcome outcome = run_trial(trial);
    CHECK_FALSE(outcome.mapped);
    CHECK(outcome.message.find("tape it flat") != std::string::npos);
  }
}

TEST_SUITE_END();

TEST_SUITE_BEGIN("scale accuracy");

// The full count stands in tests/bench/scale_bench.cpp. Asked for: the scale factor within 0.05 %
// r.m.s. and a pull between 0.8 and 1.25; over n views the pull scatters by 1 / sqrt(2 n), and
// three times that is added on either side.
TEST_CASE("over random cameras the scale factor and its uncertainty are right") {
  int pages = 1;
  int film_frames = 0;
  int views = 12;
  SUBCASE("one page") {}
  SUBCASE("two pages") {
    pages = 2;
    views = 8;
  }
  SUBCASE("one page on a film") {
    film_frames = 4;
    views = 6;
  }
  cv::RNG random(424242);
  std::vector<ScaleOutcome> outcomes;
  for (int i = 0; i < views; ++i) {
    ScaleTrial trial = random_trial(random, pages, 0.785);
    trial.film_frames = film_frames;
    outcomes.push_back(run_trial(trial));
  }
  const ScaleStatistics statistics = statistics_of(outcomes);
  MESSAGE(pages,
          " page(s), film ",
          film_frames,
          ": scale r.m.s. ",
          statistics.error_rms,
          ", pull ",
          statistics.pull,
          ", inner ",
          statistics.inner_pull);
  CHECK(10 * statistics.refused <= views);
  CHECK(statistics.error_rms < 5e-4);
  const double chance = 3.0 / std::sqrt(2.0 * views);
  for (const double pull : {statistics.pull, statistics.inner_pull}) {
    CHECK(pull > 0.8 * (1.0 - chance));
    CHECK(pull < 1.25 * (1.0 + chance));
  }
}

TEST_CASE("edges that all seem shifted alike do not hide where the sheets join") {
  // The third view of the bench, of two sheets in landscape.
  cv::RNG random(20250117);
  ScaleTrial trial;
  for (int i = 0; i < 3; ++i) trial = random_trial(random, 2, 0.785);
  const ScaleOutcome outcome = run_trial(trial);
  REQUIRE_MESSAGE(outcome.mapped, outcome.message);
  CHECK(outcome.map.pages.size() == 1);  // beside the first; three sheets in portrait would be two
  CHECK(std::abs(outcome.error) < 3.0 * outcome.u);
  CHECK(outcome.u < 1e-3);  // of that 8e-4 for the heights of two sheets seen from the side
}

TEST_SUITE_END();

}  // namespace nightswing::test
