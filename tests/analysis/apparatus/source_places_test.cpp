#include "analysis/apparatus/source_places.h"

#include <cmath>
#include <limits>
#include <stdexcept>

#include <doctest/doctest.h>

#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::reference_balance;
using nightswing::test::symmetric_sides;
using nightswing::test::unsymmetric_balance;
using nightswing::test::UnsymmetricTruth;
using nightswing::test::within_abs;
using nightswing::test::within_rel;

namespace {

constexpr double kRounding_m = 1e-15;  // of lengths of some centimetres

Cylinder cylinder(double diameter_m, double length_m, CylinderAxis axis) {
  return {{diameter_m, 0}, {length_m, 0}, axis};
}

}  // namespace

TEST_SUITE("source_places") {
  TEST_CASE("a separation places the sources as mirror images, beside the test masses") {
    const auto plus = source_places(reference_balance(), Side::kPlus);
    CHECK(plus[0].x_m == 0.1);
    CHECK(plus[0].y_m == 0.06);
    CHECK(plus[1].x_m == -0.1);
    CHECK(plus[1].y_m == -0.06);
    CHECK(source_places(reference_balance(), Side::kMinus)[0].y_m == -0.06);
    CHECK_THROWS_AS(static_cast<void>(source_places(reference_balance(), Side::kAway)),
                    std::invalid_argument);
  }

  TEST_CASE("sources that are away stand where the apparatus says, if it does") {
    Apparatus balance = unsymmetric_balance();
    CHECK_FALSE(has_places(balance, Side::kAway));
    CHECK_THROWS_AS(static_cast<void>(source_places(balance, Side::kAway)), std::invalid_argument);
    balance.sides->away = balance.sides->plus;
    balance.sides->away->at(1).across_m.value = -0.3;
    CHECK(has_places(balance, Side::kAway));
    CHECK(source_places(balance, Side::kAway)[1].y_m == -0.3);
  }

  TEST_CASE("coordinates place them one by one") {
    const auto minus = source_places(unsymmetric_balance(), Side::kMinus);
    CHECK(minus[1].x_m == -0.103);
    CHECK(minus[1].y_m == 0.061);
    CHECK(minus[1].z_m == 0.004);
    CHECK(mean_separation_m(unsymmetric_balance()) ==
          within_rel(UnsymmetricTruth{}.mean_separation_m, 1e-9));  // nine digits given
    CHECK(mean_separation_m(reference_balance()) == 0.06);
  }

  TEST_CASE("which way a side turns the boom follows from the places") {
    CHECK(turn_towards(reference_balance(), Side::kPlus) == 1.0);
    CHECK(turn_towards(reference_balance(), Side::kMinus) == -1.0);
    CHECK(turn_towards(unsymmetric_balance(), Side::kPlus) == 1.0);
    Apparatus swapped = unsymmetric_balance();
    std::swap(swapped.sides->plus, swapped.sides->minus);
    CHECK(turn_towards(swapped, Side::kPlus) == -1.0);
    CHECK(turn_towards(swapped, Side::kMinus) == 1.0);
  }

  TEST_CASE("the room between bodies is that between their surfaces") {
    const Sphere ball{{0.02, 0}};
    // 3-4-5 triangles: 50 mm between centres
    CHECK(gap_m(ball, Sphere{{0.06, 0}}, {0.03, 0.04, 0}) == within_abs(0.01, kRounding_m));
    // beside the corner of a box: 30, 40 and 0 mm beyond its faces
    const Box box{{0.08, 0}, {0.06, 0}, {0.04, 0}};
    CHECK(gap_m(ball, box, {0.07, 0.07, 0.01}) == within_abs(0.04, kRounding_m));
    CHECK(gap_m(box, ball, {-0.07, -0.07, -0.01}) == within_abs(0.04, kRounding_m));
    // beside the rim of an upright cylinder of radius 30 mm: 40 mm outwards, 30 mm upwards
    const auto upright = cylinder(0.06, 0.1, CylinderAxis::kVertical);
    CHECK(gap_m(ball, upright, {0.042, 0.056, 0.08}) == within_abs(0.04, kRounding_m));
    // and beside the mantles of lying ones
    const auto along = cylinder(0.06, 0.2, CylinderAxis::kAlongBoom);
    CHECK(gap_m(ball, along, {0.05, 0.03, 0.04}) == within_abs(0.01, kRounding_m));
    const auto across = cylinder(0.06, 0.2, CylinderAxis::kAcross);
    CHECK(gap_m(ball, across, {0.03, 0.05, 0.04}) == within_abs(0.01, kRounding_m));
    // two upright cylinders: 50 mm between the axes, on one height
    const auto thin = cylinder(0.02, 0.05, CylinderAxis::kVertical);
    CHECK(gap_m(thin, upright, {0.03, 0.04, 0.01}) == within_abs(0.01, kRounding_m));
    // a lying one beside an upright one: as their boxes
    CHECK(gap_m(along, upright, {0, 0.07, 0}) == within_abs(0.01, kRounding_m));
    CHECK(gap_m(box, box, {0.02, 0.09, 0}) == within_abs(0.03, kRounding_m));
    // overlapping bodies have none
    CHECK(gap_m(ball, box, {0.03, 0.01, 0}) == 0.0);
    CHECK(gap_m(ball, upright, {0.0, 0.035, 0}) == 0.0);
  }

  TEST_CASE("a rod takes room of its own, no rod takes none") {
    // 60 mm less the radius of the rod, 2 mm, and that of the lead sphere
    const Apparatus balance = reference_balance();
    const double lead_m = nightswing::test::lead_radius_m(4.0);
    CHECK(room_beside_rod_m(balance, {0.0, 0.06, 0.0}) ==
          within_abs(0.06 - 0.002 - lead_m, kRounding_m));
    Apparatus bare = balance;
    bare.rod.reset();
    CHECK(room_beside_rod_m(bare, {0.0, 0.06, 0.0}) == std::numeric_limits<double>::infinity());
  }

  TEST_CASE("the boom turns until the nearer test mass touches") {
    // Centres at (a, b) and at (a cos t, a sin t) touch when
    //   a^2 + b^2 + a^2 - 2 a (a cos t + b sin t) = (R + r)^2.
    const auto touch_rad = [](double a, double b, double reach) {
      const double c = (2 * a * a + b * b - reach * reach) / (2 * a);
      return std::atan2(b, a) - std::acos(c / std::hypot(a, b));
    };
    const double reach_m =
        nightswing::test::lead_radius_m(4.0) + nightswing::test::lead_radius_m(0.05);
    CHECK(contact_rad(reference_balance()) == within_abs(touch_rad(0.1, 0.06, reach_m), 1e-12));
    // one of four nearer by 2 mm
    Apparatus nearer = reference_balance();
    nearer.separation_m.reset();
    nearer.sides = symmetric_sides(0.1, 0.06);
    nearer.sides->minus[1].across_m = {0.058, 0};
    CHECK(contact_rad(nearer) == within_abs(touch_rad(0.1, 0.058, reach_m), 1e-12));
    // sources that hang 80 mm higher are passed by
    Apparatus high = reference_balance();
    high.separation_m.reset();
    high.sides = symmetric_sides(0.1, 0.06);
    for (auto* side : {&high.sides->plus, &high.sides->minus}) {
      for (SourcePlace& source : *side) source.height_m = {0.08, 0};
    }
    CHECK(contact_rad(high) == within_abs(std::atan2(0.06, 0.1), kRounding_m));
  }
}
