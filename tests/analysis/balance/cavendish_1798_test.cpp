#include <cmath>
#include <numbers>
#include <vector>

#include <doctest/doctest.h>

#include "analysis/balance/gravity.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

// H. Cavendish, Phil. Trans. 88 (1798) 469-526: the experiment that this program repeats. The rows
// are from memory and confirmed by his own formula, density = N^2/(10844 B), in the first test.
using namespace nightswing::analysis;
using nightswing::test::sphere;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

namespace {

struct Experiment {
  double motion_divisions;  // B: from midway to one side, corrected where he did so
  double vibration_s;       // N: one vibration, half of a period
  double density;           // of the earth against water, as printed
};

// Motions from side to side are halved.
const std::vector<Experiment> kExperiments{
    {13.42, 895, 5.50},    {13.17, 895, 5.61},    {14.69, 882, 4.88},    {14.14, 882, 5.07},
    {13.56, 879, 5.26},    {13.28, 894, 5.55},    {2.95, 414, 5.36},     {6.18 / 2, 421, 5.29},
    {5.92 / 2, 423, 5.58}, {5.90 / 2, 425, 5.65}, {5.98 / 2, 425, 5.57}, {2.90, 417, 5.53},
    {5.71 / 2, 417, 5.62}, {3.03, 417, 5.29},     {5.90 / 2, 417, 5.44}, {3.00, 417, 5.34},
    {5.54 / 2, 417, 5.79}, {6.32 / 2, 418, 5.10}, {6.15 / 2, 419, 5.27}, {6.07 / 2, 421, 5.39},
    {6.09 / 2, 423, 5.42}, {6.12 / 2, 426, 5.47}, {5.97 / 2, 427, 5.63}, {6.27 / 2, 426, 5.34},
    {6.13 / 2, 426, 5.46}, {6.34 / 2, 427, 5.30}, {6.10 / 2, 436, 5.75}, {5.78 / 2, 422, 5.68},
    {5.64 / 2, 423, 5.85}};

// His balance: weights of 2 439 000 grains, balls of 11 262 grains, 36.65 inches from axis to ball,
// 8.85 inches from ball to weight. The ball's size, rod and mirror do not enter the textbook
// formula.
constexpr double kGrainKg = 64.79891e-6;
constexpr double kInchM = 0.0254;
Apparatus cavendish_balance() {
  Apparatus balance = nightswing::test::reference_balance();
  balance.source = sphere(2439000 * kGrainKg, 0.30);
  balance.test = sphere(11262 * kGrainKg, 0.05);
  balance.arm_m = {36.65 * kInchM, 0};
  balance.rod.reset();
  balance.separation_m = Measured{8.85 * kInchM, 0};
  balance.mirror_to_wall_m = {1.0, 0};
  return balance;
}

// He read the boom's end itself, one division being 1/766 of the radius; as a spot on a wall at
// 1 m the same rotation would have moved by 4 D theta from side to side.
NightFindings as_spot(const Experiment& experiment) {
  const double theta_rad = experiment.motion_divisions / 766;
  return {.x_plus_mm = 4000 * theta_rad,
          .x_minus_mm = 0,
          .period_s = 2 * experiment.vibration_s,
          .damping_per_s = 0};
}

struct Mean {
  double value;
  double standard_deviation;
};

Mean mean_of(const std::vector<double>& values) {
  double sum = 0;
  for (const double value : values) sum += value;
  const double count = static_cast<double>(values.size());
  double squares = 0;
  for (const double value : values) squares += std::pow(value - sum / count, 2);
  return {sum / count, std::sqrt(squares / (count - 1))};
}

}  // namespace

TEST_SUITE("gravity: Cavendish 1798") {
  TEST_CASE("each row of his table follows from his formula") {
    // The printed digit is good to 0.005, his rounded constant 10844 to 0.00025 of the density. Two
    // rows are off by one in the last digit, his own arithmetic or motions rounded for print.
    int to_the_printed_digit = 0;
    for (const Experiment& row : kExperiments) {
      const double density = row.vibration_s * row.vibration_s / (10844 * row.motion_divisions);
      CHECK(density == within_abs(row.density, 0.006));
      if (std::abs(density - row.density) <= 0.00525) ++to_the_printed_digit;
    }
    CHECK(to_the_printed_digit == 27);
  }

  TEST_CASE("the mean of his 29 densities is 5.448") {
    std::vector<double> densities;
    for (const Experiment& row : kExperiments) densities.push_back(row.density);
    REQUIRE(densities.size() == 29);
    const double density = mean_of(densities).value;
    CHECK(density == within_abs(5.448, 5e-4));
    // G = 3 g/(4 pi R rho) with g = 9.80665 m/s2 and R = 6371.0 km: 6.745e-11.
    const double g = 3 * 9.80665 / (4 * std::numbers::pi * 6371.0e3 * 1000 * density);
    CHECK(g == within_abs(6.745e-11, 5e-15));
  }

  TEST_CASE("the textbook formula makes 6.502e-11 of his motions, with his corrections 6.750e-11") {
    std::vector<double> values;
    for (const Experiment& row : kExperiments) {
      values.push_back(textbook_gravity(cavendish_balance(), as_spot(row)));
    }
    CHECK(mean_of(values).value == within_abs(6.502e-11, 5e-15));
    // Inertia of arm and rods 1.0353, obliquity of the pull 0.9779, pull on the arm 1.0199.
    const double corrections = 1.0353 / (0.9779 * 1.0199);
    CHECK(corrections * mean_of(values).value == within_abs(6.750e-11, 5e-15));
    CHECK(corrections * mean_of(values).standard_deviation == within_abs(0.279e-11, 5e-15));
  }

  TEST_CASE("his densities make 6.745e-11, his motions 6.750e-11: averaging, rounding and units") {
    // From a motion B and a time N his way to the density is N^2/(K B): N^2 against the pendulum
    // that beats seconds (39.14 inches) as long as the arm, 1/766 of the radius a division; the
    // weight as 10.64 spherical feet of water, 6 inches from the centre of a sphere of a foot; the
    // earth of 41 800 000 feet. He rounds K to 10844 (numbers from memory, as above).
    const double k =
        41.8e6 / (10.64 * 0.9779 * std::pow(6 / 8.85, 2)) / (766 * 39.14 / 36.65) * 1.0353 / 1.0199;
    CHECK(k == within_abs(10844, 2));
    double sum_g = 0;
    double sum_inverse = 0;
    double sum_density = 0;
    double sum_printed = 0;
    for (const Experiment& row : kExperiments) {
      const double density = row.vibration_s * row.vibration_s / (k * row.motion_divisions);
      sum_g += textbook_gravity(cavendish_balance(), as_spot(row));
      sum_inverse += 1 / density;
      sum_density += density;
      sum_printed += row.density;
    }
    const double count = static_cast<double>(kExperiments.size());
    const double corrected = sum_g / count * 1.0353 / (0.9779 * 1.0199);
    CHECK(corrected == within_abs(6.750e-11, 5e-15));

    // In his own units, which the earth's gravity, radius and water have here, that is the same
    // thing: G = 3 g/(4 pi R rho) of every experiment. Rounding alone may differ.
    const double foot_m = 12 * kInchM;
    const double pi = std::numbers::pi;
    const double his_g = pi * pi * 39.14 * kInchM;
    const double his_radius_m = 41.8e6 * foot_m / 2;
    const double his_water = 2439000 * kGrainKg / (10.64 * pi / 6 * std::pow(foot_m, 3));
    const double his_g_times_density = 3 * his_g / (4 * pi * his_radius_m * his_water);
    CHECK(his_g_times_density * sum_inverse / count == within_rel(corrected, 1e-12));

    // 1. The mean of 29 values of G goes with the mean of 1/density, which scatter makes larger
    // than 1 over the mean density.
    const double averaging = count / sum_density / (sum_inverse / count);
    CHECK(averaging == within_abs(1 - 0.00161, 5e-6));
    // 2. K and the densities as he printed them.
    const double rounding = sum_density / sum_printed;
    CHECK(rounding == within_abs(1 - 0.00025, 5e-6));
    // 3. g of 9.81193 m/s2 for 9.80665, R of 6370.3 km for 6371.0, water of 1001.83 kg/m3 for 1000:
    // the last decides.
    const double today = 3 * 9.80665 / (4 * pi * 6371.0e3 * 1000);
    const double units = today / his_g_times_density;
    CHECK(units == within_abs(1 + 0.00119, 5e-6));
    CHECK(his_water == within_abs(1001.83, 5e-3));
    CHECK(corrected * averaging * rounding * units == within_abs(6.745e-11, 5e-15));
  }

  TEST_CASE("the far weight takes away 0.0017 of the pull") {
    // He says 0.0017; beta = b^3/(b^2 + L^2)^1.5 with L twice the arm gives 0.00172.
    const BoomTorque torque = boom_torque(cavendish_balance(), Side::kPlus, 0.0);
    CHECK(-torque.far_pairs.torque / torque.near_pairs.torque == within_abs(0.00172, 5e-6));
  }
}
