#include "analysis/positions/spot_path.h"

#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

std::vector<WallSample> line(double tilt_rad, double half_mm) {
  std::vector<WallSample> samples;
  for (int i = -100; i <= 100; ++i) {
    const double s = half_mm * i / 100.0;
    samples.push_back({.t_s = i + 100.0,
                       .x_mm = 240.0 + s * std::cos(tilt_rad),
                       .y_mm = 35.0 + s * std::sin(tilt_rad),
                       .u_x_mm = 0.02,
                       .u_y_mm = 0.03});
  }
  return samples;
}

}  // namespace

TEST_SUITE("spot_path") {
  TEST_CASE("the tilt of the path is found and lengths along it are kept") {
    for (const double degrees : {-30.0, -0.4, 0.0, 0.4, 30.0, 80.0}) {
      CAPTURE(degrees);
      const double tilt_rad = degrees * std::numbers::pi / 180.0;
      const auto samples = line(tilt_rad, 100.0);
      const SpotPath path = fit_path(samples);
      CHECK(path.tilt_rad == within_abs(tilt_rad, 1e-12));
      const auto series = along_path(path, samples);
      CHECK(series.back().x_mm - series.front().x_mm == within_abs(200.0, 1e-9));
      CHECK(series[100].x_mm == within_abs(240.0, 1e-9));
      CHECK(series[0].u_mm ==
            within_rel(std::hypot(0.02 * std::cos(tilt_rad), 0.03 * std::sin(tilt_rad)), 1e-9));
    }
  }

  TEST_CASE("a cloud without direction counts as parallel to the ruler") {
    std::vector<WallSample> round;
    for (int i = 0; i < 36; ++i) {
      const double angle = i * std::numbers::pi / 18.0;
      round.push_back({1.0 * i, std::cos(angle), std::sin(angle), 0.01, 0.01});
    }
    CHECK(fit_path(round).tilt_rad == 0.0);
    CHECK(fit_path({}).tilt_rad == 0.0);
  }
}
