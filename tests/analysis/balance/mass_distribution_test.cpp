#include "analysis/balance/mass_distribution.h"

#include <cmath>
#include <stdexcept>

#include <doctest/doctest.h>

#include "analysis/balance/gauss_legendre.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::reference_balance;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

namespace {

double summed_inertia_kg_m2(const std::vector<MassElement>& elements) {
  double inertia = 0;
  for (const auto& e : elements) inertia += e.mass_kg * (e.x_m * e.x_m + e.y_m * e.y_m);
  return inertia;
}

double summed_mass_kg(const std::vector<MassElement>& elements) {
  double mass = 0;
  for (const auto& e : elements) mass += e.mass_kg;
  return mass;
}

const ElementOptions kClose{.clearance_m = 0.02, .tolerance = 1e-9};

}  // namespace

TEST_SUITE("gauss_legendre") {
  TEST_CASE("the rule has the tabulated points and weights") {
    // M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, table 25.4, n = 5.
    const auto rule = gauss_legendre(5);
    REQUIRE(rule.size() == 5);
    CHECK(rule[4].x == within_abs(0.906179845938664, 1e-15));
    CHECK(rule[3].x == within_abs(0.538469310105683, 1e-15));
    CHECK(rule[2].x == within_abs(0.0, 1e-15));
    CHECK(rule[4].weight == within_abs(0.236926885056189, 2e-15));
    CHECK(rule[3].weight == within_abs(0.478628670499366, 2e-15));
    CHECK(rule[2].weight == within_abs(0.568888888888889, 2e-15));
  }

  TEST_CASE("the rule integrates polynomials up to degree 2 n - 1 exactly") {
    for (const int count : {1, 2, 3, 8, 24, 60}) {
      CAPTURE(count);
      const auto rule = gauss_legendre(count);
      for (const int degree : {0, 1, 2 * count - 2, 2 * count - 1}) {
        CAPTURE(degree);
        double sum = 0;
        for (const auto& [x, weight] : rule) sum += weight * std::pow(x, degree);
        const double integral = degree % 2 == 1 ? 0.0 : 2.0 / (degree + 1);
        CHECK(sum == within_abs(integral, 1e-13));  // rounding of some hundred additions
      }
    }
  }

  TEST_CASE("a rule without points is a bug of the caller") {
    CHECK_THROWS_AS(static_cast<void>(gauss_legendre(0)), std::invalid_argument);
  }
}

TEST_SUITE("mass_distribution") {
  TEST_CASE("the boom's inertia is that of the worked balance") {
    // Closed forms evaluated outside this code: 2 m (a^2 + 2 r^2/5) + m_r (l^2/12 + r_r^2/4) +
    // mirror = 1.03101376e-3 kg m2 (nine digits given).
    CHECK(boom_inertia(reference_balance()).total_kg_m2() == within_rel(1.03101376e-3, 1e-8));
    CHECK(boom_inertia(reference_balance()).points_kg_m2 == within_rel(1e-3, 1e-14));
  }

  TEST_CASE("elements have the mass and the closed-form inertia of their body") {
    const Measured d{0.09, 0};
    const Measured l{0.07, 0};
    const Shape shapes[] = {Cylinder{d, l, CylinderAxis::kVertical},
                            Cylinder{d, l, CylinderAxis::kAlongBoom},
                            Cylinder{d, l, CylinderAxis::kAcross},
                            Box{{0.08, 0}, {0.1, 0}, {0.05, 0}}};
    for (const Shape& shape : shapes) {
      const Body body{shape, {4.0, 0}, ""};
      const auto elements = mass_elements(body, kClose);
      CHECK(summed_mass_kg(elements) == within_rel(4.0, 1e-13));  // rounding of 1e4 additions
      // The integrand is a polynomial of degree 2, which these rules take exactly.
      CHECK(summed_inertia_kg_m2(elements) == within_rel(own_inertia_kg_m2(body), 1e-12));
    }
  }

  TEST_CASE("a sphere is one element and keeps its own inertia") {
    const Body body = nightswing::test::sphere(4.0, 0.08);
    CHECK(mass_elements(body, kClose).size() == 1);
    CHECK(own_inertia_kg_m2(body) == within_rel(0.4 * 4.0 * 0.04 * 0.04, 1e-14));  // 2/5 m r^2
  }

  TEST_CASE("a rod is a cylinder along the boom") {
    const Rod rod{{0.008, 0}, {0.2, 0}, {0.004, 0}};
    const auto elements = mass_elements(rod, kClose);
    // Thin rod m l^2/12 and the round section's m r^2/4.
    const double expected = 0.008 * (0.2 * 0.2 / 12 + 0.002 * 0.002 / 4);
    CHECK(summed_inertia_kg_m2(elements) == within_rel(expected, 1e-12));
  }

  TEST_CASE("without clearance no number of elements would do") {
    const Body body{Cylinder{{0.09, 0}, {0.07, 0}, CylinderAxis::kVertical}, {4.0, 0}, ""};
    CHECK_THROWS_AS(static_cast<void>(mass_elements(body, {.clearance_m = 0.0})),
                    std::invalid_argument);
  }
}
