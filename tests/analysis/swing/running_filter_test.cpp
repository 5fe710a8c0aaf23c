#include "analysis/swing/running_filter.h"

#include <algorithm>
#include <cmath>

#include <doctest/doctest.h>

#include "analysis/swing/swing_track.h"
#include "tests/support/driven_swing.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

/// A stirred night of two sides, an hour each, fitted until some moment.
struct Begun {
  DrivenNight night{.end_s = 9000.0, .torque_mm = 0.2, .drift_mm_per_hour = 0.3};
  std::vector<SwingSample> samples = make_driven(night).samples;
  SwingFit fit;
  std::vector<SwingSample> later;

  explicit Begun(double until_s) {
    const auto end = std::ranges::lower_bound(samples, until_s, {}, &SwingSample::t_s);
    const std::vector<SwingSample> before(samples.begin(), end);
    const std::vector<Segment> segments{{Side::kPlus, 60.0, 3600.0},
                                        {Side::kMinus, 3660.0, before.back().t_s + 1e-6}};
    fit = fit_swing(before, segments, {600.0, night.damping_per_s, 1.0, 0.3});
    REQUIRE(fit.status == FitStatus::kConverged);
    later.assign(end, samples.end());
  }
};

}  // namespace

TEST_SUITE("running_filter") {
  TEST_CASE("reading by reading it comes to what the whole track gives at once") {
    const Begun begun(6000.0);
    auto filter = RunningFilter::after(begun.fit);
    REQUIRE(filter);
    FittedFilter whole = *begun.fit.filter;
    const FilterFit before = filter_fit(whole.track, whole.layout, whole.x);
    for (const SwingSample& s : begun.later) {
      filter->take(s);
      whole.track.points.push_back({.t_s = s.t_s,
                                    .x_mm = s.x_mm - whole.origin_mm,
                                    .variance_ratio = s.u_mm * s.u_mm / whole.mean_square_u_mm2,
                                    .slow_step = s.t_s - whole.track.points.back().t_s});
      const auto row = whole.track.design.rows();
      whole.track.design.conservativeResize(row + 1, Eigen::NoChange);
      whole.track.design.row(row).setZero();
      whole.track.design(row, 1) = 1.0;
      const auto terms = drift_terms(whole.model.drift, whole.segments, s.t_s);
      for (std::size_t k = 0; k < terms.size(); ++k) {
        whole.track.design(row, 2 + static_cast<Eigen::Index>(k)) = terms[k];
      }
    }
    REQUIRE(whole.model.slow_noise != SlowNoise::kInPosition);  // slow_step above is in seconds
    const FilterFit at_once = filter_fit(whole.track, whole.layout, whole.x);
    const auto levels = filter->levels();
    REQUIRE(levels);
    REQUIRE(levels->shift_mm);
    CHECK(levels->shift_mm->value == within_abs(at_once.beta(0) - at_once.beta(1), 1e-9));
    // u falls as the filter's does: the rest of it is a factor, white variance as it was fitted.
    const auto u = [](const FilterFit& f) {
      const double variance = f.covariance(0, 0) + f.covariance(1, 1) - 2.0 * f.covariance(0, 1);
      return std::sqrt(variance / f.white_variance_mm2);
    };
    CHECK(levels->shift_mm->u / begun.fit.shift_mm.u == within_rel(u(at_once) / u(before), 0.02));
  }

  TEST_CASE("before anything is added the numbers are those of the fit") {
    const Begun begun(6000.0);
    const auto filter = RunningFilter::after(begun.fit);
    REQUIRE(filter);
    const auto levels = filter->levels();
    REQUIRE(levels);
    // The fit averages over what the noise could be, the filter takes the likeliest: a part of u.
    CHECK(levels->shift_mm->value ==
          within_abs(begun.fit.shift_mm.value, 0.3 * begun.fit.shift_mm.u));
    CHECK(levels->shift_mm->u >= begun.fit.shift_mm.u * (1.0 - 1e-9));
  }

  TEST_CASE("the time foretold for a target is the time that it takes") {
    const Begun begun(5400.0);
    auto filter = RunningFilter::after(begun.fit);
    REQUIRE(filter);
    const double now_u = filter->levels()->shift_mm->u;
    const double shift_mm = std::abs(filter->levels()->shift_mm->value);
    const double target = 0.8 * now_u / shift_mm;
    const auto foretold_s =
        filter->seconds_to(target, {.every_s = 5.0, .u_mm = begun.night.white_mm}, 86400.0);
    REQUIRE(foretold_s);
    CHECK(*foretold_s > 0.0);
    REQUIRE(*foretold_s < begun.later.back().t_s - 5400.0);
    double reached_s = 0.0;
    for (const SwingSample& s : begun.later) {
      filter->take(s);
      if (filter->levels()->shift_mm->u > target * shift_mm) continue;
      reached_s = s.t_s - 5400.0;
      break;
    }
    // Looks are 1 % of the time apart, readings 5 s; the covariance knows no data.
    CHECK(reached_s == within_abs(*foretold_s, 0.02 * *foretold_s + 10.0));
    CHECK(filter->seconds_to(0.5, {.every_s = 5.0, .u_mm = 0.3}, 86400.0) == 0.0);
    CHECK_FALSE(filter->seconds_to(1e-9, {.every_s = 60.0, .u_mm = 0.3}, 86400.0));
  }

  TEST_CASE("a false position surprises, a good one seldom does") {
    const Begun begun(6000.0);
    auto filter = RunningFilter::after(begun.fit);
    REQUIRE(filter);
    double squares = 0.0;
    for (const SwingSample& s : begun.later) {
      const double surprise = filter->surprise(s);
      squares += surprise * surprise;
      SwingSample wrong = s;
      wrong.x_mm += 10.0 * begun.night.white_mm;
      CHECK(filter->surprise(wrong) > 4.0);
      filter->take(s);
    }
    // Mean square of standardised innovations; 600 of them scatter by sqrt(2/600) = 0.06, the noise
    // was fitted to 2 per cent of as many again.
    CHECK(squares / static_cast<double>(begun.later.size()) == within_abs(1.0, 0.2));
  }

  TEST_CASE("a fit without numbers has no filter") {
    CHECK_FALSE(RunningFilter::after(SwingFit{}));
  }
}
