#include "analysis/balance/gravity_budget.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>

#include <doctest/doctest.h>

#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using Eigen::Matrix4d;
using Eigen::Vector4d;
using nightswing::test::reference_balance;
using nightswing::test::sphere;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

namespace {

// Point-like test masses, no rod, no mirror: only the far source masses are left to correct, and
// with a shift of a thousandth of a millimetre neither gradient nor arctangent count.
Apparatus bare_balance() {
  Apparatus apparatus = reference_balance();
  apparatus.rod.reset();
  apparatus.mirror_inertia_kg_m2 = {0, 0};
  apparatus.test = sphere(0.05, 1e-6);
  return apparatus;
}

NightFindings tiny_swing() {
  return {.x_plus_mm = 5e-4, .x_minus_mm = -5e-4, .period_s = 540, .damping_per_s = 0};
}

NightFindings ordinary_swing() {
  return {.x_plus_mm = 143.4, .x_minus_mm = 56.6, .period_s = 545.1, .damping_per_s = 3e-4};
}

NightUncertainty independent(double u_x_mm, double u_period_s, double wall_map) {
  Matrix4d covariance = Matrix4d::Zero();
  covariance.diagonal() = Vector4d{u_x_mm * u_x_mm, u_x_mm * u_x_mm, u_period_s * u_period_s, 0};
  return {.covariance = covariance, .wall = {.scale_relative_u = wall_map}};
}

const BudgetRow& row_of(const UncertaintyBudget& budget, const std::string& name) {
  const auto row = std::ranges::find_if(
      budget.rows, [&](const BudgetRow& candidate) { return candidate.input.name == name; });
  REQUIRE(row != budget.rows.end());
  return *row;
}

// d ln G/d ln input
double exponent_of(const UncertaintyBudget& budget, const std::string& name) {
  const BudgetRow& row = row_of(budget, name);
  return row.sensitivity * row.input.value / budget.value;
}

}  // namespace

TEST_SUITE("gravity_budget") {
  TEST_CASE("G depends on each input with its exponent") {
    // G = pi^2 L b^2 S/(2 M T^2 D (1 - beta)), beta = b^3/(b^2 + L^2)^1.5; with
    // e = 3 L^2/(b^2 + L^2) beta/(1 - beta) = 0.0669 at b = 60 mm, L = 200 mm:
    // 2 + e for b, 1 - e for L, -1 for M and D, -2 for T, 1 for a factor on the shift.
    const auto budget = gravity_budget(bare_balance(), tiny_swing(), independent(1e-6, 0.5, 1e-3));
    // e has three digits; the differences are good to 1e-6.
    CHECK(exponent_of(budget, "separation") == within_abs(2.0669, 5e-5));
    CHECK(exponent_of(budget, "boom.arm") == within_abs(1 - 0.0669, 5e-5));
    CHECK(exponent_of(budget, "source_masses.mass") == within_abs(-1.0, 1e-5));
    CHECK(exponent_of(budget, "test_masses.mass") == within_abs(0.0, 1e-5));
    CHECK(exponent_of(budget, "optical_lever.mirror_to_wall") == within_abs(-1.0, 1e-5));
    CHECK(exponent_of(budget, "scale.factor") == within_abs(1.0, 1e-5));
    CHECK(exponent_of(budget, "wall map, scale factor") == within_abs(1.0, 1e-5));
    CHECK(exponent_of(budget, "wall map, non-linearity") == within_abs(1.0, 1e-5));
    CHECK(exponent_of(budget, "period") == within_abs(-2.0, 1e-5));
  }

  TEST_CASE("coordinates of the source masses count one by one") {
    Apparatus placed = bare_balance();
    placed.separation_m.reset();
    placed.sides = nightswing::test::symmetric_sides(0.1, 0.06);
    for (auto* side : {&placed.sides->plus, &placed.sides->minus}) {
      for (SourcePlace& source : *side) {
        source.along_m.u = source.across_m.u = source.height_m.u = 2e-4;
      }
    }
    const auto budget = gravity_budget(placed, tiny_swing(), independent(1e-6, 0.5, 0));
    double across = 0.0;
    for (const char* name : {"plus.first", "plus.second", "minus.first", "minus.second"}) {
      const std::string source = std::string("sides.") + name;
      // A quarter of what the separation does: 2.0669 as worked above.
      CHECK(exponent_of(budget, source + " across") == within_abs(2.0669 / 4, 2e-5));
      across += exponent_of(budget, source + " across");
      // To first order the near pairs do not care for what is at right angles to them.
      CHECK(row_of(budget, source + " height").share < 1e-6);
    }
    CHECK(across == within_abs(2.0669, 5e-5));
    CHECK(std::ranges::count(
              budget.rows, "separation", [](const BudgetRow& row) { return row.input.name; }) == 0);
    // Four independent readings of 0.2 mm: half the uncertainty of one separation.
    const double by_across = 2.0669 / 4 * 0.2 / 60 * 2;
    CHECK(std::sqrt(4 * row_of(budget, "sides.minus.first across").share) * budget.u /
              budget.value ==
          within_rel(by_across, 1e-4));
  }

  TEST_CASE("the worked uncertainties add up through the full model") {
    // L 0.1 %, b 0.5 %, S 0.35 %, M 0.1 %, T 0.093 %, D 0.1 % with the exponents above:
    // sqrt((.0933)^2 + (2.0669*.5)^2 + .35^2 + .1^2 + (2*.093)^2 + .1^2) = 1.1197 percent.
    Apparatus balance = bare_balance();
    balance.arm_m.u = 1e-3 * balance.arm_m.value;
    balance.separation_m->u = 5e-3 * balance.separation_m->value;
    balance.source.mass_kg.u = 1e-3 * balance.source.mass_kg.value;
    balance.mirror_to_wall_m.u = 1e-3 * balance.mirror_to_wall_m.value;
    const double u_x_mm = 3.5e-3 * 1e-3 / std::sqrt(2.0);  // both ends of a shift of 1e-3 mm
    const auto budget =
        gravity_budget(balance, tiny_swing(), independent(u_x_mm, 0.093e-2 * 540, 0));
    CHECK(100 * budget.u / budget.value == within_abs(1.1197, 1e-4));
    REQUIRE(budget.dominating.has_value());
    CHECK(budget.rows[*budget.dominating].input.name == "separation");
  }

  TEST_CASE("what moves both equilibria alike does not count") {
    Matrix4d together = Matrix4d::Zero();
    together.topLeftCorner<2, 2>().setConstant(0.25);  // u = 0.5 mm each, fully correlated
    Matrix4d apart = together;
    apart(0, 1) = apart(1, 0) = 0;
    const NightFindings findings = ordinary_swing();
    const auto correlated =
        gravity_budget(reference_balance(), findings, {.covariance = together, .wall = {}});
    const auto uncorrelated =
        gravity_budget(reference_balance(), findings, {.covariance = apart, .wall = {}});
    // Independent: sqrt(2)*0.5 of 86.8 mm; the gradient of the pull makes it a few per cent more.
    CHECK(uncorrelated.u / uncorrelated.value == within_rel(std::sqrt(0.5) / 86.8, 0.05));
    CHECK(correlated.u < 1e-4 * uncorrelated.u);
  }

  TEST_CASE("the full covariance of the night is used") {
    // First order for a function of the shift and the period alone, checked term by term.
    Matrix4d covariance = Matrix4d::Zero();
    covariance.diagonal() = Vector4d{0.04, 0.09, 0.25, 1e-10};
    covariance(0, 2) = covariance(2, 0) = 0.05;
    covariance(1, 3) = covariance(3, 1) = -1e-6;
    const auto budget = gravity_budget(
        reference_balance(), ordinary_swing(), {.covariance = covariance, .wall = {}});
    const Vector4d c{row_of(budget, "equilibrium plus").sensitivity,
                     row_of(budget, "equilibrium minus").sensitivity,
                     row_of(budget, "period").sensitivity,
                     row_of(budget, "damping").sensitivity};
    CHECK(budget.u == within_rel(std::sqrt(c.dot(covariance * c)), 1e-9));
    double shares = 0;
    for (const BudgetRow& row : budget.rows) shares += row.share;
    CHECK(shares == within_rel(1.0, 1e-9));
  }

  TEST_CASE("the two doubts of the wall map count with their correlation") {
    // u^2 = s^2 + n^2 + 2 r s n for a product of two factors (JCGM 100:2008, 5.2.2).
    const NightUncertainty night{
        .covariance = Matrix4d::Zero(),
        .wall = {.scale_relative_u = 3e-3, .nonlinearity_relative_u = 4e-3, .correlation = -0.5}};
    Apparatus exact = bare_balance();
    const auto budget = gravity_budget(exact, tiny_swing(), night);
    CHECK(budget.u / budget.value == within_rel(std::sqrt(13e-6), 1e-5));
    CHECK(night.wall.relative_u() == within_rel(std::sqrt(13e-6), 1e-12));
  }

  TEST_CASE("inputs without a stated uncertainty are listed") {
    Apparatus balance = reference_balance();
    balance.separation_m->u = 3e-4;
    const auto budget = gravity_budget(balance, ordinary_swing(), independent(0.1, 0.5, 1e-3));
    const auto& names = budget.without_uncertainty;
    CHECK(std::ranges::count(names, "boom.rod.width") == 1);
    CHECK(std::ranges::count(names, "damping") == 1);
    CHECK(std::ranges::count(names, "separation") == 0);
    // A sphere's radius does not matter for its pull.
    CHECK(std::ranges::count(names, "source_masses.diameter") == 0);
  }

  TEST_CASE("degrees of freedom of the night reach the result") {
    NightUncertainty night = independent(0.1, 0.0, 0);
    night.degrees_of_freedom = 12;
    const auto budget = gravity_budget(reference_balance(), ordinary_swing(), night);
    // Two equal contributions of 12 degrees each: 24 (JCGM 100:2008, G.4.1). The lever and the
    // gradient make them differ by less than a per cent.
    CHECK(budget.effective_degrees_of_freedom == within_rel(24.0, 0.01));
  }

  TEST_CASE("the inputs reproduce G and serve other shapes too") {
    Apparatus balance = reference_balance();
    balance.source.shape = Box{{0.06, 0}, {0.07, 0}, {0.05, 0}};
    balance.test.shape = Cylinder{{0.02, 0}, {0.02, 0}, CylinderAxis::kVertical};
    balance.rod.reset();
    balance.foot_mm = Measured{80.0, 10.0};
    const auto inputs = gravity_inputs(balance, ordinary_swing(), independent(0.1, 0.5, 1e-3));
    Eigen::VectorXd values(static_cast<Eigen::Index>(inputs.inputs.size()));
    for (std::size_t i = 0; i < inputs.inputs.size(); ++i) {
      values[static_cast<Eigen::Index>(i)] = inputs.inputs[i].value;
    }
    CHECK(inputs.gravitational_constant(values) ==
          within_rel(gravitational_constant(balance, ordinary_swing()), 1e-12));
    CHECK(inputs.inputs.size() == 19);
    CHECK(inputs.correlation.rows() == values.size());
  }

  TEST_CASE("a leaning mirror has rows of its own") {
    Apparatus balance = reference_balance();
    const double degree = std::numbers::pi / 180;
    balance.leaning_mirror = LeaningMirror{.lean_rad = {5 * degree, degree},
                                           .laser_elevation_rad = {0.0, degree},
                                           .laser_mm = std::nullopt};
    const auto budget = gravity_budget(balance, ordinary_swing(), independent(0.0, 0.0, 0.0));
    // d ln k/dp of k = 1 + 1/cos 2p, and d ln k/de of k = 1 + cos e/cos(2p - e) at e = 0, with the
    // sign of G ~ 1/k; 1e-3 for the shift of 87 mm, which is not quite small at 4 m.
    const double p = 5 * degree;
    const double k = 1 + 1 / std::cos(2 * p);
    const double by_lean = -2 * std::tan(2 * p) / std::cos(2 * p) / k;
    const double by_elevation = std::tan(2 * p) / std::cos(2 * p) / k;
    int rows = 0;
    for (const BudgetRow& row : budget.rows) {
      if (row.input.name == "optical_lever.mirror_lean") {
        CHECK(row.sensitivity / budget.value == within_rel(by_lean, 1e-3));
        ++rows;
      }
      if (row.input.name == "optical_lever.laser_elevation") {
        CHECK(row.sensitivity / budget.value == within_rel(by_elevation, 1e-3));
        ++rows;
      }
    }
    CHECK(rows == 2);
  }

  TEST_CASE("an impossible covariance is a bug of the caller") {
    NightUncertainty night = independent(0.1, 0.5, 1e-3);
    night.covariance(2, 2) = -1;
    CHECK_THROWS_AS(static_cast<void>(gravity_budget(reference_balance(), ordinary_swing(), night)),
                    std::invalid_argument);
    night = independent(0.1, 0.5, -1e-3);
    CHECK_THROWS_AS(static_cast<void>(gravity_budget(reference_balance(), ordinary_swing(), night)),
                    std::invalid_argument);
  }
}
