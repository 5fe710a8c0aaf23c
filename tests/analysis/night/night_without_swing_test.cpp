// Nights that show no whole swing: over-damped, critically damped, nearly so, and cut short. The
// spot follows the closed form of x'' + 2 g x' + w0^2 (x - rest) = 0, place and speed going on when
// the rest position jumps.
#include <cmath>
#include <numbers>
#include <random>

#include <doctest/doctest.h>

#include "analysis/night/night.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

// The closed loop of the reference balance, by two independent routes: with kReferenceG it
// rests at 5.42207058 mrad, and its undamped period beside the sources is 545.118407 s.
constexpr double kHalf_mm = 2.0 * 5.42207058e-3 * 4000.0;  // straightened, from midway to a side
constexpr double kW0_per_s = 2.0 * std::numbers::pi / 545.118407;

struct DampedNight {
  double damping_ratio;  ///< g/w0: 1 is critical
  double noise_mm = 0.1;
  int sides = 4;
  double side_s = 3600.0;
  double start_mm = 60.0;  ///< off the first rest position
  std::uint32_t seed = 1;
};

/// Place off the rest position and speed.
struct Fall {
  double x_mm;
  double v_mm_per_s;
};

Fall after(const Fall& from, double ratio, double t_s) {
  const double g = ratio * kW0_per_s;
  const double envelope = std::exp(-g * t_s);
  const double push = from.v_mm_per_s + g * from.x_mm;
  // cosine and sine/w, hyperbolic where the swing is over-damped
  double c = 1.0;
  double s = t_s;
  if (ratio > 1.0) {
    const double q = kW0_per_s * std::sqrt(ratio * ratio - 1.0);
    c = std::cosh(q * t_s);
    s = std::sinh(q * t_s) / q;
  } else if (ratio < 1.0) {
    const double w = kW0_per_s * std::sqrt(1.0 - ratio * ratio);
    c = std::cos(w * t_s);
    s = std::sin(w * t_s) / w;
  }
  const double pull = g * from.v_mm_per_s + kW0_per_s * kW0_per_s * from.x_mm;
  return {envelope * (from.x_mm * c + push * s), envelope * (from.v_mm_per_s * c - pull * s)};
}

Night watched(const DampedNight& made) {
  std::mt19937_64 generator(made.seed);
  std::normal_distribution<double> normal(0.0, made.noise_mm);
  Night night;
  Fall fall{made.start_mm, 0.0};
  for (int k = 0; k < made.sides; ++k) {
    const bool plus = k % 2 == 0;
    const double rest_mm = plus ? kHalf_mm : -kHalf_mm;
    night.sides.push_back({plus ? Side::kPlus : Side::kMinus, k * made.side_s});
    for (double t_s = 0.0; t_s < made.side_s; t_s += 5.0) {
      const double straight_mm = rest_mm + after(fall, made.damping_ratio, t_s).x_mm;
      night.samples.push_back({.t_s = k * made.side_s + t_s,
                               .x_mm = 4000.0 * std::tan(straight_mm / 4000.0) + normal(generator),
                               .y_mm = 35.0 + normal(generator),
                               .u_x_mm = made.noise_mm,
                               .u_y_mm = made.noise_mm});
    }
    fall = after(fall, made.damping_ratio, made.side_s);
    fall.x_mm += 2.0 * rest_mm;  // the other rest position lies opposite
  }
  return night;
}

NightResult analysed(const DampedNight& made) {
  return analyse_night(watched(made), reference_balance(), {.monte_carlo_trials = 0});
}

}  // namespace

TEST_SUITE("nights without a swing") {
  TEST_CASE("the closed form obeys the equation of motion, whatever the damping") {
    for (const double ratio : {0.3, 1.0, 1.5}) {
      CAPTURE(ratio);
      const double g = ratio * kW0_per_s;
      const auto at = [&](double t_s) { return after({60.0, 0.2}, ratio, t_s); };
      const double h_s = 0.1;
      const double v = (at(100.0 + h_s).x_mm - at(100.0 - h_s).x_mm) / (2 * h_s);
      const double a = (at(100.0 + h_s).v_mm_per_s - at(100.0 - h_s).v_mm_per_s) / (2 * h_s);
      // central differences: (w h)^2/6 = 2e-7 of terms of w0^2 x = 8e-3 mm/s2 and w0 x = 0.7 mm/s
      CHECK(at(100.0).v_mm_per_s == within_abs(v, 1e-6));
      CHECK(a + 2 * g * at(100.0).v_mm_per_s + kW0_per_s * kW0_per_s * at(100.0).x_mm ==
            within_abs(0.0, 1e-8));
    }
  }

  TEST_CASE("a strongly damped swing that still overshoots gives its G, with a u that holds") {
    for (const double ratio : {0.3, 0.5, 0.7}) {
      CAPTURE(ratio);
      const NightResult result = analysed({.damping_ratio = ratio});
      REQUIRE(result.status == NightStatus::kMeasured);
      const Measured& shift_mm = result.fit.shift_mm;
      // The closed form has no uneven pull, which the analysis takes off: up to one u here.
      CHECK(std::abs(shift_mm.value - 2 * kHalf_mm) < 4.5 * shift_mm.u);
      // 720 readings of 0.1 mm a side and no drift leave 0.004 mm; with one, and the tails of
      // four falls, some times that
      CHECK(shift_mm.u < 0.02);
      const double g = result.gravity->g_m3_kg_s2;
      CHECK(std::abs(g - kReferenceG) < 3.5 * result.budget->u);
      // The period of so strong a damping is hard to know, and u says so.
      CHECK(result.budget->u / g > (ratio > 0.6 ? 1e-3 : 1e-4));
      CHECK(result.budget->u / g < 0.03);
    }
  }

  TEST_CASE("a spot that goes to rest without swinging past it gives no G, and is told why") {
    for (const double ratio : {0.9, 1.0, 1.2, 2.0, 4.0}) {
      for (const double noise_mm : {0.02, 0.3}) {
        CAPTURE(ratio);
        CAPTURE(noise_mm);
        const NightResult result = analysed(
            {.damping_ratio = ratio, .noise_mm = noise_mm, .sides = noise_mm < 0.1 ? 2 : 4});
        CHECK((result.status == NightStatus::kNoSwing || result.status == NightStatus::kNotFitted));
        CHECK_FALSE(result.gravity);
        CHECK(result.shift_mm.value == 0.0);  // none is claimed
        CAPTURE(result.message);
        CHECK(result.message.find("goes to its place of rest without swinging past it") !=
              std::string::npos);
      }
    }
  }

  TEST_CASE("without marks such a night asks for them instead of making moves up") {
    for (const double ratio : {0.7, 1.0, 2.0}) {
      CAPTURE(ratio);
      Night night = watched({.damping_ratio = ratio});
      night.sides.clear();
      const NightResult result =
          analyse_night(night, reference_balance(), {.monte_carlo_trials = 0});
      CHECK(result.status == NightStatus::kNoShift);
      CHECK_FALSE(result.gravity);
      CHECK(result.message.find("name the moments with --side plus@0s --side minus@2h5m") !=
            std::string::npos);
    }
  }

  TEST_CASE("a spot that is kicked from place to place, and never swings, gives no G") {
    // Of these the scan takes the kicks for moves at first, and the fit between them finds no
    // swing.
    for (const unsigned seed : {11U, 50U, 77U, 120U}) {
      CAPTURE(seed);
      std::mt19937 generator(seed);
      std::normal_distribution<double> normal;
      std::uniform_real_distribution<double> even;
      Night night;
      double t_s = 0.0;
      double x_mm = 0.0;
      for (int k = 0; k < 145; ++k) {
        const double pause = even(generator) < 0.1 ? 30.0 * even(generator) : 0.0;
        t_s += 5.0 * (1.0 + pause + even(generator));
        x_mm += 3.0 * normal(generator);
        if (even(generator) < 0.01) x_mm += 100.0 * normal(generator);
        night.samples.push_back({t_s, x_mm, 0.0, 0.05, 0.05});
      }
      const NightResult result =
          analyse_night(night, reference_balance(), {.monte_carlo_trials = 0});
      CHECK_FALSE(result.gravity);
      CHECK_FALSE(result.message.empty());
    }
  }

  TEST_CASE("sides watched for less than a period give no G, however quiet the readings") {
    for (const double periods : {0.3, 0.5, 0.8}) {
      for (const int sides : {2, 4}) {
        CAPTURE(periods);
        CAPTURE(sides);
        // The 60 s after a move are left out besides.
        const NightResult result = analysed({.damping_ratio = 0.03,
                                             .noise_mm = 0.02,
                                             .sides = sides,
                                             .side_s = std::round(periods * 545.0 / 5.0) * 5.0});
        CAPTURE(result.message);
        CHECK((result.status == NightStatus::kTooShort || result.status == NightStatus::kNoSwing ||
               result.status == NightStatus::kNotFitted));
        CHECK_FALSE(result.gravity);
      }
    }
  }

  TEST_CASE("a short segment beside whole ones is used for what it says") {
    // The fourth segment lasts half a period: its side has a whole one before.
    Night night = watched({.damping_ratio = 0.03});
    night.samples.resize(3 * 720 + 55);
    const NightResult result = analyse_night(night, reference_balance(), {.monte_carlo_trials = 0});
    REQUIRE(result.status == NightStatus::kMeasured);
    REQUIRE(result.segments.size() == 4);
    CHECK(result.segments[3].periods < 0.5);
    CHECK(std::abs(result.fit.shift_mm.value - 2 * kHalf_mm) < 3.5 * result.fit.shift_mm.u);
    CHECK(std::abs(result.gravity->g_m3_kg_s2 - kReferenceG) < 3.5 * result.budget->u);
  }
}
