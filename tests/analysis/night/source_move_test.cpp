#include "analysis/night/source_move.h"

#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "analysis/night/night.h"
#include "tests/support/driven_swing.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

/// The fit of a night by its marks, and what the move shows by itself.
struct Trial {
  SwingFit fit;
  std::optional<SourceMove> move;
};

Trial try_move(const DrivenNight& night, double settle_s) {
  const auto samples = make_driven(night).samples;
  const auto start = scan_period(samples);
  Trial trial;
  trial.fit = fit_swing(samples, segments_between(night.sides, night.end_s, settle_s), *start);
  trial.move = fit_source_move(samples, trial.fit, 0, 60.0);
  return trial;
}

}  // namespace

TEST_SUITE("source_move") {
  TEST_CASE("a move in a quiet night shows its time, shift and acceleration") {
    DrivenNight night;
    night.white_mm = 0.01;
    for (const double settle_s : {0.0, 60.0}) {
      const Trial trial = try_move(night, settle_s);
      REQUIRE(trial.move);
      const SourceMove& move = *trial.move;
      // The simulator steps its equation of motion: truth is what it was told.
      CHECK(move.t_s.value == within_abs(3600.0, 5.0 * move.t_s.u + 0.02));
      CHECK(move.shift_mm.value == within_abs(-20.0, 5.0 * move.shift_mm.u + 0.002));
      CHECK(move.shift_mm.u < 0.05);
      const double omega = 2.0 * std::numbers::pi / night.period_s;
      const double truth = -20.0 * (omega * omega + night.damping_per_s * night.damping_per_s);
      CHECK(move.acceleration_mm_per_s2.value ==
            within_abs(truth, 5.0 * move.acceleration_mm_per_s2.u + 1e-4 * std::abs(truth)));
    }
  }

  TEST_CASE("the acceleration is unbiased and its uncertainty true in white and stirred nights") {
    DrivenNight white;
    DrivenNight stirred;
    stirred.torque_mm = 0.3;
    for (DrivenNight night : {white, stirred}) {
      CAPTURE(night.torque_mm);
      const double omega = 2.0 * std::numbers::pi / night.period_s;
      const double truth = -20.0 * (omega * omega + night.damping_per_s * night.damping_per_s);
      constexpr int kNights = 60;
      double sum = 0.0;
      double square = 0.0;
      double square_of_equilibria = 0.0;
      double square_of_moves = 0.0;
      for (int k = 0; k < kNights; ++k) {
        night.seed = 3000 + static_cast<std::uint32_t>(k);
        const Trial trial = try_move(night, 60.0);
        REQUIRE(trial.move);
        const Measured& a = trial.move->acceleration_mm_per_s2;
        const double pull = (a.value - truth) / a.u;
        sum += pull;
        square += pull * pull;
        square_of_moves += std::pow(a.u / truth, 2);
        square_of_equilibria += std::pow(trial.fit.shift_mm.u / 20.0, 2);
      }
      // 60 nights know the mean of a pull to 0.13 and its width to 0.09.
      CHECK(std::abs(sum / kNights) < 0.4);
      CHECK(std::sqrt(square / kNights) > 0.8);
      CHECK(std::sqrt(square / kNights) < 1.25);
      // A second opinion, not a better one.
      CHECK(square_of_moves > square_of_equilibria);
    }
  }

  TEST_CASE("a move that is marked late by less than the reach is timed where it was") {
    DrivenNight night;
    const auto samples = make_driven(night).samples;
    std::vector<SideChange> marks = night.sides;
    marks[1].t_s += 20.0;
    const auto start = scan_period(samples);
    const SwingFit fit = fit_swing(samples, segments_between(marks, night.end_s, 60.0), *start);
    const auto move = fit_source_move(samples, fit, 0, 60.0);
    REQUIRE(move);
    // Four readings of the wrong side pull at the fit, so that its u does not bound the error.
    CHECK(move->t_s.value == within_abs(3600.0, 10.0));
  }

  TEST_CASE("where nothing moved there is no move to be timed") {
    DrivenNight night;
    night.minus_mm = night.plus_mm;
    const Trial trial = try_move(night, 60.0);
    if (trial.move) {
      CHECK(std::abs(trial.move->shift_mm.value) < 5.0 * trial.move->shift_mm.u);
    }
  }

  TEST_CASE("too little watched after the move gives none") {
    DrivenNight night;
    night.end_s = 3600.0 + 60.0 + 0.19 * night.period_s;
    CHECK_FALSE(try_move(night, 60.0).move);
  }
}
