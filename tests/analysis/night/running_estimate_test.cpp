#include "analysis/night/running_estimate.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include <doctest/doctest.h>

#include "analysis/night/night.h"
#include "tests/support/driven_swing.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

constexpr double kSettle_s = 60.0;

/// Feeds a night as it passes. `refit_s`: moments to fit at; without any, whenever it is due.
RunningEstimate follow(const DrivenNight& night,
                       const std::vector<SwingSample>& samples,
                       std::vector<double> refit_s = {},
                       bool marked = true) {
  RunningEstimate estimate;
  std::size_t mark = 0;
  std::size_t refit = 0;
  for (const SwingSample& sample : samples) {
    while (marked && mark < night.sides.size() && night.sides[mark].t_s <= sample.t_s) {
      estimate.sources_moved(night.sides[mark].t_s, night.sides[mark].side);
      ++mark;
    }
    estimate.add(sample);
    if (refit_s.empty() ? estimate.refit_is_due()
                        : refit < refit_s.size() && sample.t_s >= refit_s[refit]) {
      estimate.refit();
      ++refit;
    }
  }
  return estimate;
}

SwingFit full_fit(const DrivenNight& night, const std::vector<SwingSample>& samples) {
  return fit_swing(samples,
                   segments_between(night.sides, night.end_s, kSettle_s),
                   {night.period_s, night.damping_per_s, 1.0, night.white_mm});
}

/// Positions about a place, with white noise; `swing_mm` decays within `decay_s` without swinging.
std::vector<SwingSample> creeping(double swing_mm, double decay_s) {
  std::mt19937_64 generator(4);
  std::normal_distribution<double> normal(0.0, 0.1);
  std::vector<SwingSample> samples;
  for (double t_s = 0.0; t_s < 3600.0; t_s += 2.0) {
    samples.push_back({t_s, 50.0 + swing_mm * std::exp(-t_s / decay_s) + normal(generator), 0.1});
  }
  return samples;
}

}  // namespace

TEST_SUITE("running_estimate") {
  TEST_CASE("at the end of a night it agrees with the fit of the whole night") {
    const DrivenNight night{.every_s = 2.0, .torque_mm = 0.2, .drift_mm_per_hour = 0.3, .seed = 3};
    const auto samples = make_driven(night).samples;
    const SwingFit full = full_fit(night, samples);
    REQUIRE(full.status == FitStatus::kConverged);
    const RunningResult running = follow(night, samples).result();
    REQUIRE(running.state == RunningState::kShift);
    // Same data, same model, averaged a little otherwise: a part of u apart.
    CHECK(running.shift_mm->value == within_abs(full.shift_mm.value, 0.3 * full.shift_mm.u));
    CHECK(running.shift_mm->u == within_rel(full.shift_mm.u, 0.15));
    CHECK(running.period_s->value == within_abs(full.period_s.value, 0.3 * full.period_s.u));
    CHECK(running.equilibrium_mm->value == within_abs(full.segments.back().equilibrium_mm.value,
                                                      0.5 * full.segments.back().equilibrium_mm.u));
    CHECK(running.side == Side::kMinus);
    CHECK(running.warnings.empty());
  }

  TEST_CASE("what it says of itself holds: pulls over thirty nights, the filter alone at the end") {
    double squares = 0.0;
    constexpr int kNights = 30;
    for (std::uint32_t seed = 1; seed <= kNights; ++seed) {
      const DrivenNight night{.torque_mm = 0.2, .drift_mm_per_hour = 0.3, .seed = 100 + seed};
      const auto samples = make_driven(night).samples;
      // Fitted once, half an hour after the move; the rest of the night by the filter.
      const RunningResult running = follow(night, samples, {5400.0}).result();
      CAPTURE(seed);
      REQUIRE(running.shift_mm);
      CHECK(running.at_s == samples.back().t_s);
      const double pull =
          (running.shift_mm->value - (night.plus_mm - night.minus_mm)) / running.shift_mm->u;
      CHECK(std::abs(pull) < 4.5);
      squares += pull * pull;
    }
    const double width = std::sqrt(squares / kNights);
    // 30 of them scatter by 13 %: three of these.
    CHECK(width > 0.6);
    CHECK(width < 1.4);
  }

  TEST_CASE("gaps, false positions, kicks and drift widen it but do not carry it away") {
    for (std::uint32_t seed = 1; seed <= 3; ++seed) {
      const DrivenNight night{.torque_mm = 0.1,
                              .drift_mm_per_hour = 1.0,
                              .kicks = 2,
                              .gap_share = 0.05,
                              .outlier_share = 0.01,
                              .seed = seed};
      const auto samples = make_driven(night).samples;
      const RunningResult running = follow(night, samples, {5400.0, 6300.0}).result();
      CAPTURE(seed);
      REQUIRE(running.shift_mm);
      CHECK(running.shift_mm->value ==
            within_abs(night.plus_mm - night.minus_mm, 4.0 * running.shift_mm->u));
      CHECK(running.shift_mm->u < 0.5);  // 2.5 % of the shift
    }
  }

  TEST_CASE("single false positions are set aside and counted") {
    DrivenNight night{.end_s = 3600.0, .every_s = 1.0};
    night.sides = {{Side::kPlus, 0.0}};
    auto samples = make_driven(night).samples;
    int wrong = 0;
    for (std::size_t k = 2000; k < samples.size(); k += 100) {
      samples[k].x_mm += 8.0;
      ++wrong;
    }
    samples.push_back({3600.0, samples.back().x_mm, 0.3});  // closes the last reading
    const RunningResult running = follow(night, samples, {1900.0}).result();
    CHECK(running.left_out >= wrong - 1);
    CHECK(running.left_out <= wrong + 1);  // one in 1.7 million by chance
    CHECK(running.equilibrium_mm->value ==
          within_abs(night.plus_mm, 4.0 * running.equilibrium_mm->u));
  }

  TEST_CASE("a kick is not taken for false positions, and has it fitted again soon") {
    DrivenNight night{.end_s = 10800.0, .every_s = 1.0};
    night.sides = {{Side::kPlus, 0.0}};
    const auto quiet = make_driven(night).samples;
    auto kicked = quiet;
    constexpr std::size_t kKick = 9000;
    for (std::size_t k = kKick; k < kicked.size(); ++k) {
      const double since_s = kicked[k].t_s - kicked[kKick].t_s;
      kicked[k].x_mm += 12.0 * std::sin(2.0 * std::numbers::pi * since_s / night.period_s) *
                        std::exp(-night.damping_per_s * since_s);
    }
    const auto due_s = [&](const std::vector<SwingSample>& samples) {
      RunningEstimate estimate;
      estimate.sources_moved(0.0, Side::kPlus);
      for (std::size_t k = 0; k < samples.size(); ++k) {
        estimate.add(samples[k]);
        if (k == kKick - 20) estimate.refit();
        if (k > kKick && estimate.refit_is_due()) return samples[k].t_s;
      }
      return night.end_s;
    };
    // 5 % of the night after the fit; with the kick a quarter of a period after it, and not before
    // some readings of 6 s have told that it is one.
    CHECK(due_s(quiet) == within_abs(8980.0 + 0.05 * 8980.0, 2.0));
    CHECK(due_s(kicked) > 9000.0);
    CHECK(due_s(kicked) < 8980.0 + 0.25 * night.period_s + 20.0);
  }

  TEST_CASE("before a period has passed there is no number, and no shift before both sides") {
    const DrivenNight night{.every_s = 2.0};
    const auto samples = make_driven(night).samples;
    const auto until = [&](double end_s) {
      const auto end = std::ranges::lower_bound(samples, end_s, {}, &SwingSample::t_s);
      return follow(night, {samples.begin(), end}).result();
    };
    CHECK(until(20.0).state == RunningState::kTooFew);
    const RunningResult early = until(400.0);
    CHECK((early.state == RunningState::kNoSwing || early.state == RunningState::kTooShort));
    CHECK_FALSE(early.period_s);
    CHECK_FALSE(early.equilibrium_mm);
    const RunningResult one = until(3000.0);
    CHECK(one.state == RunningState::kOneSide);
    CHECK(one.period_s->value == within_abs(600.0, 4.0 * one.period_s->u));
    CHECK(one.equilibrium_mm->value == within_abs(110.0, 4.0 * one.equilibrium_mm->u));
    CHECK_FALSE(one.shift_mm);
    CHECK_FALSE(one.seconds_to_target);
    // Half a period after the move the other side says too little yet.
    const RunningResult moved = until(3950.0);
    CHECK(moved.state == RunningState::kOneSide);
    CHECK(moved.side == Side::kMinus);
    CHECK_FALSE(moved.shift_mm);
  }

  TEST_CASE("that a segment has just begun is no warning") {
    const DrivenNight night{.every_s = 2.0};
    const auto samples = make_driven(night).samples;
    RunningEstimate estimate;  // nothing is marked
    for (const SwingSample& sample : samples) {
      if (sample.t_s > 300.0) break;
      estimate.add(sample);
      if (sample.t_s < 62.0) continue;
      estimate.refit();
      CHECK_MESSAGE(estimate.result().warnings.empty(), estimate.result().warnings.front());
    }
    RunningEstimate marked;
    marked.sources_moved(0.0, Side::kPlus);
    for (const SwingSample& sample : samples) {
      if (sample.t_s > 3700.0) break;
      if (sample.t_s == 3600.0) marked.sources_moved(3600.0, Side::kMinus);
      marked.add(sample);
    }
    marked.refit();
    CHECK(marked.result().warnings.empty());
  }

  TEST_CASE("what does not swing is said to, and gives no number") {
    for (const auto& samples : {creeping(0.0, 1.0), creeping(20.0, 700.0)}) {
      RunningEstimate estimate;
      estimate.sources_moved(0.0, Side::kPlus);
      for (const SwingSample& sample : samples) {
        estimate.add(sample);
        if (estimate.refit_is_due()) estimate.refit();
      }
      CHECK(estimate.result().state == RunningState::kNoSwing);
      CHECK_FALSE(estimate.result().period_s);
      CHECK_FALSE(estimate.result().shift_mm);
    }
  }

  TEST_CASE(
      "without marks the sides are found in the track, and with them unmarked moves are told") {
    const DrivenNight night{.torque_mm = 0.05};
    const auto samples = make_driven(night).samples;
    const RunningResult found = follow(night, samples, {7000.0}, false).result();
    CHECK(found.state == RunningState::kShift);
    CHECK(found.sides_found);
    CHECK(found.side == Side::kMinus);
    CHECK(std::abs(found.shift_mm->value) == within_abs(20.0, 4.0 * found.shift_mm->u));
    DrivenNight marked_once = night;
    marked_once.sides.resize(1);
    const RunningResult told = follow(marked_once, samples, {7000.0}).result();
    REQUIRE_FALSE(told.warnings.empty());
    CHECK(told.warnings.front().find("mark") != std::string::npos);
  }

  TEST_CASE("the time foretold for a target is about the time at which later fits reach it") {
    const DrivenNight night{.end_s = 14400.0, .torque_mm = 0.2, .seed = 8};
    const auto samples = make_driven(night).samples;
    RunningOptions options;
    options.target_relative = 0.0025;
    RunningEstimate estimate(options);
    for (const SideChange& side : night.sides) {
      if (side.t_s == 0.0) estimate.sources_moved(side.t_s, side.side);
    }
    double foretold_at_s = 0.0;
    double reached_s = 0.0;
    bool moved = false;
    for (const SwingSample& sample : samples) {
      if (!moved && sample.t_s >= 3600.0) {
        moved = true;
        estimate.sources_moved(3600.0, Side::kMinus);
      }
      estimate.add(sample);
      if (sample.t_s < 4800.0 || std::fmod(sample.t_s, 600.0) != 0.0) continue;
      estimate.refit();
      const RunningResult r = estimate.result();
      if (!r.seconds_to_target) continue;
      if (foretold_at_s == 0.0) foretold_at_s = sample.t_s + *r.seconds_to_target;
      if (*r.seconds_to_target == 0.0 && reached_s == 0.0) reached_s = sample.t_s;
    }
    REQUIRE(foretold_at_s > 5400.0);  // else there was nothing to foretell
    REQUIRE(reached_s > 0.0);
    // The noise is known to some ten per cent after two periods, and time goes as its square.
    CHECK(reached_s - 4800.0 == within_rel(foretold_at_s - 4800.0, 0.5));
  }
}
