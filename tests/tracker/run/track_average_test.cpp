#include "tracker/run/track_average.h"

#include <array>
#include <cmath>
#include <random>
#include <stdexcept>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

constexpr double kU_px = 0.05;  // stated for every frame, and true
constexpr double kRate = 25.0;

double true_x_px(double t_s) {
  return 500.0 + 90.0 * std::cos(2.0 * 3.14159265358979 * t_s / 600.0);
}

TrackRow row_at(double t_s, double x_px, SpotState state = SpotState::kFound) {
  return {.utc = {}, .t_s = t_s, .spot = {state, SpotPosition{x_px, 200, kU_px, kU_px, 90, 4}}};
}

struct Outcome {
  double pull_width = 0.0;
  double mean_u_px = 0.0;
};

/// Averages of 1 s over 40 minutes, noise of three kinds with shares of the variance: independent,
/// first-order autoregressive, and one value for a whole second.
Outcome averages_of(double white, double regressive, double common) {
  std::mt19937_64 random(7);
  std::normal_distribution<double> normal;
  TrackAverage average(1.0);
  double memory = normal(random);
  double shared = 0.0;
  double pulls = 0.0;
  double u_px = 0.0;
  int windows = 0;
  const auto take = [&](const TrackRow& row) {
    const double error_px = row.spot.position->x_px - true_x_px(row.t_s);
    pulls += std::pow(error_px / row.spot.position->u_x_px, 2);
    u_px += row.spot.position->u_x_px;
    ++windows;
  };
  for (int k = 0; k < 60'000; ++k) {
    const double t_s = k / kRate;
    memory = 0.6 * memory + std::sqrt(1.0 - 0.36) * normal(random);
    if (k % 25 == 0) shared = normal(random);
    const double noise = std::sqrt(white) * normal(random) + std::sqrt(regressive) * memory +
                         std::sqrt(common) * shared;
    if (const auto row = average.add(row_at(t_s, true_x_px(t_s) + kU_px * noise))) take(*row);
  }
  take(*average.finish());
  CHECK(windows == 2400);
  return {std::sqrt(pulls / windows), u_px / windows};
}

}  // namespace

TEST_SUITE("track_average") {
  TEST_CASE("independent noise goes down with the root of the number of frames") {
    const Outcome outcome = averages_of(1.0, 0.0, 0.0);
    // How much is common is only known to a percent, and that can err to one side only.
    CHECK(outcome.pull_width > 0.85);
    CHECK(outcome.pull_width < 1.05);
    CHECK(outcome.mean_u_px > kU_px / 5.0);
    CHECK(outcome.mean_u_px < 1.2 * kU_px / 5.0);
  }

  TEST_CASE("what the frames of a second have in common does not go down at all") {
    const Outcome outcome = averages_of(0.0, 0.0, 1.0);
    CHECK(outcome.pull_width == within_abs(1.0, 0.1));
    CHECK(outcome.mean_u_px == within_rel(kU_px, 0.05));
  }

  TEST_CASE("the uncertainty is true for mixtures and for noise that is correlated in time") {
    for (const auto& shares : {std::array{0.5, 0.0, 0.5},
                               std::array{0.0, 1.0, 0.0},
                               std::array{0.3, 0.5, 0.2},
                               std::array{0.9, 0.0, 0.1}}) {
      const double white = shares[0];
      const double regressive = shares[1];
      const double common = shares[2];
      CAPTURE(white);
      CAPTURE(regressive);
      const Outcome outcome = averages_of(white, regressive, common);
      CHECK(outcome.pull_width > 0.8);
      CHECK(outcome.pull_width < 1.25);
    }
  }

  TEST_CASE("the worse measurements count less, and the time is that of what counts") {
    TrackAverage average(1.0);
    TrackRow poor = row_at(0.25, 104.0);
    poor.spot.position->u_x_px = poor.spot.position->u_y_px = 3.0 * kU_px;
    CHECK_FALSE(average.add(row_at(0.0, 100.0)));
    CHECK_FALSE(average.add(poor));
    const auto row = average.add(row_at(1.0, 100.0));
    REQUIRE(row);
    CHECK(row->spot.position->x_px == within_abs(100.4, 1e-9));  // weights 9 : 1
    CHECK(row->t_s == within_abs(0.025, 1e-9));
    // Nothing is known of their scatter yet.
    CHECK(row->spot.position->u_x_px >= kU_px);
  }

  TEST_CASE(
      "frames that were not measured do not count, and without any the state is most frames'") {
    TrackAverage average(1.0);
    CHECK_FALSE(average.add(row_at(0.1, 100.0)));
    CHECK_FALSE(average.add(row_at(0.2, 900.0, SpotState::kBlocked)));
    CHECK_FALSE(average.add(row_at(0.3, 100.0, SpotState::kClipped)));
    const auto first = average.add({.utc = {}, .t_s = 1.0, .spot = {SpotState::kLost, {}}});
    REQUIRE(first);
    CHECK(first->spot.position->x_px == within_abs(100.0, 1e-9));
    CHECK(first->spot.state == SpotState::kClipped);
    CHECK_FALSE(average.add({.utc = {}, .t_s = 1.5, .spot = {SpotState::kLost, {}}}));
    CHECK_FALSE(average.add(row_at(1.7, 900.0, SpotState::kBlocked)));
    const auto second = average.finish();
    REQUIRE(second);
    CHECK(second->spot.state == SpotState::kLost);
    CHECK_FALSE(second->spot.position);
    CHECK(second->t_s == 1.5);
    CHECK_FALSE(average.finish());
  }

  TEST_CASE("slow frames pass one by one as they are") {
    TrackAverage average(1.0);
    CHECK_FALSE(average.add(row_at(0.0, 1.0)));
    for (int k = 1; k < 20; ++k) {
      const auto row = average.add(row_at(5.0 * k, 1.0 + k));
      REQUIRE(row);
      CHECK(row->t_s == within_abs(5.0 * (k - 1), 1e-9));
      CHECK(row->spot.position->x_px == within_abs(k, 1e-9));
      CHECK(row->spot.position->u_x_px == within_rel(kU_px, 1e-9));
    }
    CHECK_THROWS_AS(TrackAverage(0.0), std::invalid_argument);
  }

  TEST_CASE("the wall clock goes with the time") {
    TrackAverage average(1.0);
    TrackRow row = row_at(0.0, 1.0);
    row.utc = parse_iso_time("2026-03-14T21:30:00Z");
    TrackRow next = row_at(0.5, 1.0);
    next.utc = parse_iso_time("2026-03-14T21:30:00.5Z");
    CHECK_FALSE(average.add(row));
    CHECK_FALSE(average.add(next));
    const auto mean = average.finish();
    REQUIRE(mean);
    REQUIRE(mean->utc);
    CHECK(iso_text(*mean->utc) == "2026-03-14T21:30:00.250Z");
  }
}
