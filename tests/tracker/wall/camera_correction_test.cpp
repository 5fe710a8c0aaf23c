#include "tracker/wall/camera_correction.h"

#include <cmath>
#include <random>
#include <vector>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::calibration::CameraMotion;
using nightswing::calibration::FrameSize;
using nightswing::calibration::PixelPoint;

namespace {

constexpr FrameSize kFrame{.width_px = 1280, .height_px = 720};
constexpr PixelPoint kCentre{639.5, 359.5};
constexpr PixelPoint kSpot{850.0, 300.0};
constexpr double kEvery_s = 125.0;
constexpr double kNoise_px = 0.01;

/// Looks of a night whose picture is shifted along x by `shift_px(t)`.
template <typename Shift>
std::vector<CameraRow> looks_of(double until_s, Shift shift_px, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::vector<CameraRow> rows;
  for (double t_s = 40.0; t_s < until_s; t_s += kEvery_s) {
    rows.push_back({.t_s = t_s,
                    .motion = {.shift_x_px = shift_px(t_s) + kNoise_px * normal(random),
                               .shift_y_px = kNoise_px * normal(random),
                               .rotation_rad = 1e-5 * normal(random),
                               .zoom = 1.0 + 1e-5 * normal(random)},
                    .u_shift_px = kNoise_px,
                    .patches = 70,
                    .state = CameraState::kRegistered});
  }
  return rows;
}

}  // namespace

TEST_SUITE("camera_correction") {
  TEST_CASE("a camera that stood still adds no noise: no pixel is moved at all") {
    const auto rows = looks_of(
        15000.0, [](double) { return 0.0; }, 1);
    const CameraCorrection correction(rows, kFrame);
    for (const double t_s : {0.0, 40.0, 1234.5, 9000.0, 15000.0}) {
      const SteadyPixel steady = correction.steady(t_s, kSpot);
      CHECK(steady.pixel == kSpot);
      // the scatter of one look, and of the turn over 219 px: hypot(0.01, 219 * 1.4e-5)
      CHECK(steady.u_px == within_abs(0.0105, 0.003));
    }
    CHECK(correction.bumps() == 0);
    CHECK(correction.looks() == 120);
  }

  TEST_CASE("creep is taken back, smoothly, with less than the noise of single looks") {
    const auto creep_px = [](double t_s) { return 2.0 * (1.0 - std::exp(-t_s / 6000.0)); };
    const CameraCorrection correction(looks_of(15000.0, creep_px, 2), kFrame);
    double squares = 0.0;
    int count = 0;
    for (double t_s = 0.0; t_s < 15000.0; t_s += 50.0) {
      const double left_px = correction.steady(t_s, kSpot).pixel.x_px + creep_px(t_s) - kSpot.x_px;
      CHECK(std::abs(left_px) < 0.03);  // at the ends the line hangs on few looks
      squares += left_px * left_px;
      ++count;
    }
    CHECK(std::sqrt(squares / count) < 0.75 * kNoise_px);
  }

  TEST_CASE("a step lies where it was seen and is not smeared") {
    const double bump_s = 6040.0;
    auto rows = looks_of(
        12000.0, [&](double t_s) { return t_s < bump_s ? 0.0 : 6.0; }, 3);
    for (CameraRow& row : rows) {
      if (row.t_s == bump_s) row.state = CameraState::kMoved;
    }
    const CameraCorrection correction(rows, kFrame);
    CHECK(correction.bumps() == 1);
    CHECK(correction.steady(bump_s - 0.1, kSpot).pixel.x_px == kSpot.x_px);
    // a mean of 48 looks: 0.0015 px
    CHECK(correction.steady(bump_s, kSpot).pixel.x_px == within_abs(kSpot.x_px - 6.0, 0.006));
    CHECK(correction.steady(11990.0, kSpot).pixel.x_px == within_abs(kSpot.x_px - 6.0, 0.006));
  }

  TEST_CASE("rotation and keystone are taken back at the place of the spot") {
    const CameraMotion motion{3.0, -1.0, 0.005, 1.001, -2e-6, 1e-6};
    const std::vector<CameraRow> rows{{.t_s = 100.0,
                                       .motion = motion,
                                       .u_shift_px = 0.01,
                                       .patches = 60,
                                       .state = CameraState::kMoved}};
    const CameraCorrection correction(rows, kFrame);
    const PixelPoint moved = moved_from_reference(motion, kCentre, kSpot);
    const SteadyPixel steady = correction.steady(200.0, moved);
    CHECK(steady.pixel.x_px == within_abs(kSpot.x_px, 1e-9));
    CHECK(steady.pixel.y_px == within_abs(kSpot.y_px, 1e-9));
    CHECK(steady.u_px == within_abs(0.01, 1e-9));  // one look: what it stated
  }

  TEST_CASE("while nothing could be seen before a step, the step itself is in doubt") {
    auto rows = looks_of(
        3000.0, [](double t_s) { return t_s < 1400.0 ? 0.0 : 5.0; }, 4);
    for (CameraRow& row : rows) {
      if (row.t_s > 1000.0 && row.t_s < 1400.0) row = {.t_s = row.t_s, .patches = 2};
    }
    for (CameraRow& row : rows) {
      if (is_registered(row.state) && row.t_s > 1400.0) {
        row.state = CameraState::kMoved;
        break;
      }
    }
    const CameraCorrection correction(rows, kFrame);
    CHECK(correction.failed() == 3);
    CHECK(correction.steady(900.0, kSpot).u_px < 0.03);
    CHECK(correction.steady(1200.0, kSpot).u_px == within_abs(5.0, 0.05));
    CHECK(correction.steady(1500.0, kSpot).u_px < 0.03);
  }

  TEST_CASE("steps in a row are one knock") {
    std::vector<CameraRow> rows = looks_of(
        1000.0, [](double) { return 0.0; }, 5);
    rows[3].state = rows[4].state = CameraState::kMoved;
    CHECK(CameraCorrection(rows, kFrame).bumps() == 1);
  }

  TEST_CASE("without a single look nothing is corrected") {
    const std::vector<CameraRow> blocked{{.t_s = 5.0, .patches = 0}};
    for (const auto& rows : {std::vector<CameraRow>{}, blocked}) {
      const SteadyPixel steady = CameraCorrection(rows, kFrame).steady(10.0, kSpot);
      CHECK(steady.pixel == kSpot);
      CHECK(steady.u_px == 0.0);
    }
  }
}
