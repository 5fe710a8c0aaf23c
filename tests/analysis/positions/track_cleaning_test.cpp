#include "analysis/positions/track_cleaning.h"

#include <cmath>
#include <random>
#include <vector>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing;
using analysis::SwingSample;
using analysis::thinned;
using analysis::without_spikes;
using test::within_abs;

namespace {

/// A swing of ten minutes seen every 5 s, with white noise of 0.05 mm.
std::vector<SwingSample> noisy_swing(int count, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal(0.0, 0.05);
  std::vector<SwingSample> samples;
  for (int k = 0; k < count; ++k) {
    const double t_s = 5.0 * k;
    samples.push_back({.t_s = t_s,
                       .x_mm = 20.0 * std::sin(2.0 * 3.14159 * t_s / 600.0) + normal(random),
                       .u_mm = 0.05});
  }
  return samples;
}

}  // namespace

TEST_SUITE("track_cleaning") {
  TEST_CASE("single false readings go, wherever they stand, and nothing else") {
    auto samples = noisy_swing(400, 1);
    for (const std::size_t k : {0U, 50U, 51U, 200U, 399U}) samples[k].x_mm += k % 2 == 0 ? 30 : -30;
    const auto kept = without_spikes(samples);
    CHECK(kept.size() == samples.size() - 5);
    for (const SwingSample& sample : kept) {
      CHECK(std::abs(sample.x_mm) < 20.5);
      CHECK(sample.t_s != 1000.0);
    }
  }

  TEST_CASE("a false reading goes from a track in which the noise or nothing at all moves") {
    std::mt19937_64 random(3);
    std::normal_distribution<double> normal(0.0, 0.05);
    std::vector<SwingSample> noisy;
    std::vector<SwingSample> still;  // as lossy film repeats the place of a spot that stands
    for (int k = 0; k < 200; ++k) {
      noisy.push_back({5.0 * k, normal(random), 0.05});
      still.push_back({5.0 * k, 7.0, 0.05});
    }
    noisy[77].x_mm = 2.0;
    still[77].x_mm = 9.0;
    for (const auto& samples : {noisy, still}) {
      const auto kept = without_spikes(samples);
      REQUIRE(kept.size() == 199);
      CHECK(kept[77].t_s == 5.0 * 78);
    }
  }

  TEST_CASE("a swing without false readings stays whole") {
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
      CHECK(without_spikes(noisy_swing(400, seed)).size() == 400);
    }
  }

  TEST_CASE("a steady motion passes unharmed, and so does a place that does not move") {
    std::vector<SwingSample> ramp;
    std::vector<SwingSample> still;
    for (int k = 0; k < 30; ++k) {
      ramp.push_back({.t_s = 5.0 * k, .x_mm = 0.7 * k, .u_mm = 0.1});
      still.push_back({.t_s = 5.0 * k, .x_mm = 3.0, .u_mm = 0.1});
    }
    CHECK(without_spikes(ramp).size() == 30);
    CHECK(without_spikes(still).size() == 30);
  }

  TEST_CASE("fewer than five samples cannot tell a false one") {
    const std::vector<SwingSample> few{
        {0.0, 1.0, 0.1}, {5.0, 99.0, 0.1}, {10.0, 1.0, 0.1}, {15.0, 1.0, 0.1}};
    CHECK(without_spikes(few).size() == 4);
    CHECK(without_spikes({}).empty());
  }

  TEST_CASE("neighbours are taken together as the mean of their times and places") {
    std::vector<SwingSample> samples;
    for (int k = 0; k < 7; ++k) samples.push_back({10.0 * k, 1.0 * k * k, 0.1 * (k + 1)});
    // At most 3 of 7: threes, and what is left over.
    const auto thin = thinned(samples, 3);
    REQUIRE(thin.size() == 3);
    const double rounding = 1e-12;
    CHECK(thin[0].t_s == within_abs(10.0, rounding));
    CHECK(thin[0].x_mm == within_abs((0.0 + 1.0 + 4.0) / 3.0, rounding));
    CHECK(thin[0].u_mm == 0.1);
    CHECK(thin[1].t_s == within_abs(40.0, rounding));
    CHECK(thin[1].u_mm == within_abs(0.4, rounding));
    CHECK(thin[2].t_s == within_abs(60.0, rounding));
    CHECK(thin[2].x_mm == within_abs(36.0, rounding));
  }

  TEST_CASE("never more than asked for remain, and few enough stay as they are") {
    const auto samples = noisy_swing(101, 2);
    for (const std::size_t most : {1U, 2U, 7U, 50U, 51U, 100U}) {
      CAPTURE(most);
      const auto thin = thinned(samples, most);
      CHECK(thin.size() <= most);
      CHECK(2 * thin.size() >= most);  // nor are more thrown together than needed
    }
    CHECK(thinned(samples, 101).size() == 101);
    CHECK(thinned(samples, 0).size() == 101);
    CHECK(thinned({}, 5).empty());
  }
}
