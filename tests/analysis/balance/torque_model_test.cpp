#include "analysis/balance/torque_model.h"

#include <cmath>
#include <numbers>
#include <stdexcept>

#include <doctest/doctest.h>

#include "analysis/balance/gauss_legendre.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using nightswing::test::reference_balance;
using nightswing::test::within_rel;

namespace {

// The worked torques have nine digits, so that 5e-9 of them is what their rounding leaves.
constexpr double kNineDigits = 5e-9;

Apparatus without_rod(Apparatus apparatus = reference_balance()) {
  apparatus.rod.reset();
  return apparatus;
}

Apparatus with_source(const Shape& shape, double mass_kg, double separation_m) {
  Apparatus apparatus = without_rod();
  apparatus.source = {shape, {mass_kg, 0}, ""};
  apparatus.separation_m = Measured{separation_m, 0};
  return apparatus;
}

double torque_plus(const Apparatus& apparatus, double theta_rad = 0.0) {
  return boom_torque(apparatus, Side::kPlus, theta_rad).total().torque;
}

std::vector<MassElement> shifted(std::vector<MassElement> elements, MassElement by) {
  for (auto& e : elements) {
    e.x_m += by.x_m;
    e.y_m += by.y_m;
    e.z_m += by.z_m;
  }
  return elements;
}

// A solid sphere cut into elements in spherical coordinates, at a place.
std::vector<MassElement> cut_sphere(double mass_kg, double radius_m, MassElement place) {
  std::vector<MassElement> elements;
  constexpr int kAngles = 40;
  for (const auto& [s, s_weight] : gauss_legendre(20)) {
    const double r_m = radius_m * (1 + s) / 2;
    for (const auto& [c, c_weight] : gauss_legendre(30)) {
      const double shell = 1.5 * s_weight * c_weight / 2 * std::pow(r_m / radius_m, 2) / kAngles;
      for (int k = 0; k < kAngles; ++k) {
        const double angle_rad = 2 * std::numbers::pi * k / kAngles;
        const double rho_m = r_m * std::sqrt(1 - c * c);
        elements.push_back({mass_kg * shell,
                            place.x_m + rho_m * std::cos(angle_rad),
                            place.y_m + rho_m * std::sin(angle_rad),
                            place.z_m + r_m * c});
      }
    }
  }
  return elements;
}

}  // namespace

TEST_SUITE("torque_model") {
  // F1 to F4: computed outside this code by two independent routes each; torque over G in kg2/m.
  TEST_CASE("F1: spheres on both sides of the boom") {
    const BoomTorque torque = boom_torque(without_rod(), Side::kPlus, 0.0);
    CHECK(torque.near_pairs.torque == within_rel(11.1111111, kNineDigits));
    CHECK(torque.total().torque == within_rel(10.8474892, kNineDigits));
    CHECK(torque_plus(without_rod(), 0.005) == within_rel(11.0376086, kNineDigits));
    CHECK(torque_plus(without_rod(), -0.005) == within_rel(10.6617132, kNineDigits));
  }

  TEST_CASE("F2: upright cylinders that stand 5 mm low") {
    const Body cylinder{Cylinder{{0.09, 0}, {0.07, 0}, CylinderAxis::kVertical}, {4.0, 0}, ""};
    const auto elements = mass_elements(cylinder, {.clearance_m = 0.02});
    const std::vector<MassElement> boom{{0.05, 0.1, 0, 0}, {0.05, -0.1, 0, 0}};
    const auto one = torque_per_g(boom, shifted(elements, {0, 0.1, 0.065, -0.005}), 0.0);
    const auto other = torque_per_g(boom, shifted(elements, {0, -0.1, -0.065, -0.005}), 0.0);
    CHECK(one.torque + other.torque == within_rel(8.99318481, kNineDigits));

    const std::vector<MassElement> point{{4.0, 0.1, 0.065, -0.005}};
    CHECK(2 * torque_per_g(boom, point, 0.0).torque == within_rel(9.10472131, kNineDigits));
  }

  TEST_CASE("F3: spheres at the corners of a rod") {
    const BoomTorque torque = boom_torque(reference_balance(), Side::kPlus, 0.0);
    CHECK(torque.rod.torque == within_rel(0.282747149, kNineDigits));
  }

  TEST_CASE("F4: lead bricks") {
    const Box brick{{0.08, 0}, {0.1, 0}, {0.05, 0}};
    CHECK(torque_plus(with_source(brick, 4.536, 0.075)) == within_rel(9.04684931, kNineDigits));
    const Apparatus as_points = with_source(Sphere{{0.05, 0}}, 4.536, 0.075);
    CHECK(torque_plus(as_points) == within_rel(7.71491596, kNineDigits));
  }

  TEST_CASE("a thin rod feels the closed form") {
    // torque/G = M lambda [X u/(Y d) - Y/d] with u = x - X, d^2 = u^2 + Y^2, between the rod's
    // ends; for both sources 0.282792009 kg2/m at these sizes.
    Apparatus apparatus = reference_balance();
    apparatus.rod->width_m = {1e-6, 0};
    const double x_m = 0.1;
    const double y_m = 0.06;
    const auto antiderivative = [&](double end_m) {
      const double u_m = end_m - x_m;
      const double d_m = std::hypot(u_m, y_m);
      return x_m * u_m / (y_m * d_m) - y_m / d_m;
    };
    const double closed = 2 * 4.0 * (0.008 / 0.2) * (antiderivative(0.1) - antiderivative(-0.1));
    CHECK(closed == within_rel(0.282792009, kNineDigits));
    // The section of 1 um adds about (1e-6/0.06)^2; the rod's rule is asked for 1e-7.
    CHECK(boom_torque(apparatus, Side::kPlus, 0.0).rod.torque == within_rel(closed, 1e-7));
  }

  TEST_CASE("a cylinder that points at the test mass has the field of its axis") {
    // Attraction on the axis at the distance h from the face, density rho, length L, radius R:
    // F/G = 2 pi rho (L + sqrt(h^2 + R^2) - sqrt((h + L)^2 + R^2)), by integrating discs.
    const double radius_m = 0.045;
    const double length_m = 0.07;
    const double separation_m = 0.06;
    const double h_m = separation_m - length_m / 2;
    const double density = 4.0 / (std::numbers::pi * radius_m * radius_m * length_m);
    const double field =
        2 * std::numbers::pi * density *
        (length_m + std::hypot(h_m, radius_m) - std::hypot(h_m + length_m, radius_m));
    const Cylinder across{{2 * radius_m, 0}, {length_m, 0}, CylinderAxis::kAcross};
    const auto torque = boom_torque(with_source(across, 4.0, separation_m), Side::kPlus, 0.0);
    CHECK(torque.near_pairs.torque == within_rel(2 * 0.05 * 0.1 * field, 1e-8));
  }

  TEST_CASE("spheres pull like points at their centres") {
    // Newton, Principia I, propositions 74 and 75, by brute force: both spheres cut into elements
    // would need more of them than this for nine digits, so one is cut at a time.
    const std::vector<MassElement> test_point{{0.05, 0.1, 0, 0}};
    const std::vector<MassElement> source_point{{4.0, 0.1, 0.06, 0}};
    const auto points = torque_per_g(test_point, source_point, 0.003);
    const auto source_cut =
        torque_per_g(test_point, cut_sphere(4.0, 0.0438, {0, 0.1, 0.06, 0}), 0.003);
    const auto test_cut =
        torque_per_g(cut_sphere(0.05, 0.0102, {0, 0.1, 0, 0}), source_point, 0.003);
    // 40 angles at a radius of 43.8 of 60 mm: (43.8/60)^40 = 3e-6 of the outermost ring.
    CHECK(source_cut.torque == within_rel(points.torque, 1e-6));
    CHECK(test_cut.torque == within_rel(points.torque, 1e-12));
    CHECK(test_cut.slope == within_rel(points.slope, 1e-11));
  }

  TEST_CASE("far away every body pulls like a point") {
    // The next term of the multipole series is of the order (size/distance)^2 = 2e-3.
    const Cylinder upright{{0.09, 0}, {0.07, 0}, CylinderAxis::kVertical};
    const Apparatus far_off = with_source(upright, 4.0, 1.0);
    const Apparatus point = with_source(Sphere{{0.05, 0}}, 4.0, 1.0);
    CHECK(torque_plus(far_off) == within_rel(torque_plus(point), 2e-3));
    CHECK(torque_plus(far_off) != torque_plus(point));
  }

  TEST_CASE("test masses that are no spheres act through all their elements") {
    // Small cube against sphere: a cube has no quadrupole, so the difference is of order (s/b)^4.
    Apparatus cube = without_rod();
    cube.test = {Box{{0.01, 0}, {0.01, 0}, {0.01, 0}}, {0.05, 0}, ""};
    CHECK(torque_plus(cube) == within_rel(torque_plus(without_rod()), 1e-3));
    CHECK(torque_plus(cube) != within_rel(torque_plus(without_rod()), 1e-7));
  }

  TEST_CASE("the slope is the derivative of the torque") {
    const Shape shapes[] = {Sphere{{0.08, 0}},
                            Cylinder{{0.08, 0}, {0.07, 0}, CylinderAxis::kAlongBoom},
                            Box{{0.08, 0}, {0.07, 0}, {0.05, 0}}};
    for (const Shape& shape : shapes) {
      Apparatus apparatus = reference_balance();
      apparatus.source.shape = shape;
      for (const double theta_rad : {-0.02, 0.0, 0.005}) {
        // Central difference: error h^2/6 of the third derivative, about 1e-7 relative, and
        // rounding 1e-16/h * 500 between torque and slope.
        constexpr double kStep = 1e-5;
        const double difference = (torque_plus(apparatus, theta_rad + kStep) -
                                   torque_plus(apparatus, theta_rad - kStep)) /
                                  (2 * kStep);
        const auto total = boom_torque(apparatus, Side::kPlus, theta_rad).total();
        CHECK(total.slope == within_rel(difference, 1e-6));
      }
    }
  }

  TEST_CASE("the pull of the near pairs grows by 4 M m a^2/b^3 for each radian") {
    // Derivative of M m (x Y - y X)/d^3 for both pairs: the turning arm gives -2 M m a^2/b^3, the
    // shrinking distance 6 M m a^2/b^3.
    const auto near_pairs = boom_torque(without_rod(), Side::kPlus, 0.0).near_pairs;
    const double unit = 4.0 * 0.05 * 0.1 * 0.1 / (0.06 * 0.06 * 0.06);
    CHECK(near_pairs.slope == within_rel(4 * unit, 1e-12));
  }

  TEST_CASE("side minus is the mirror image of side plus") {
    for (const double theta_rad : {-0.01, 0.0, 0.02}) {
      const auto plus = boom_torque(reference_balance(), Side::kPlus, theta_rad).total();
      const auto minus = boom_torque(reference_balance(), Side::kMinus, -theta_rad).total();
      CHECK(minus.torque == within_rel(-plus.torque, 1e-12));  // rounding
      CHECK(minus.slope == within_rel(plus.slope, 1e-12));
    }
  }

  TEST_CASE("source masses placed without symmetry pull as SciPy says") {
    const nightswing::test::UnsymmetricTruth truth;
    const Apparatus balance = nightswing::test::unsymmetric_balance();
    const BoomTorque plus = boom_torque(balance, Side::kPlus, 0.0);
    CHECK(plus.total().torque == within_rel(truth.torque_plus, kNineDigits));
    CHECK(plus.rod.torque == within_rel(truth.rod_plus, kNineDigits));
    CHECK(boom_torque(balance, Side::kMinus, 0.0).total().torque ==
          within_rel(truth.torque_minus, kNineDigits));
    const TorquePerG turned = boom_torque(balance, Side::kPlus, 0.005).total();
    CHECK(turned.torque == within_rel(truth.torque_plus_5_mrad, kNineDigits));
    CHECK(turned.slope == within_rel(truth.slope_plus_5_mrad, 5e-8));  // eight digits
    // Seen from side plus the boom turns by theta, from minus by -theta.
    CHECK(mean_torque(balance, 0.0).total().torque ==
          within_rel((truth.torque_plus - truth.torque_minus) / 2, kNineDigits));
  }

  TEST_CASE("a box beside the corner of the boom pulls as the sum of its eighths") {
    // The same body from eight boxes of half its size; its centre lies off the test mass.
    Apparatus whole = without_rod();
    whole.separation_m.reset();
    const auto sides_at = [](double x_m, double y_m, double z_m) {
      using nightswing::test::place;
      return SourceSides{.plus = {place(x_m, y_m, z_m), place(-0.1, -0.3, 0)},
                         .minus = {place(0.1, -0.3, 0), place(-0.1, 0.3, 0)}};
    };
    const auto first_alone = [&](const Apparatus& balance) {
      Apparatus without = balance;  // all but the first source mass far off
      without.sides->plus[0] = nightswing::test::place(0.1, 1e6, 0);
      return boom_torque(balance, Side::kPlus, 0.003).total().torque -
             boom_torque(without, Side::kPlus, 0.003).total().torque;
    };
    whole.source = {Box{{0.08, 0}, {0.1, 0}, {0.06, 0}}, {4.0, 0}, ""};
    whole.sides = sides_at(0.12, 0.08, 0.01);
    Apparatus eighth = whole;
    eighth.source = {Box{{0.04, 0}, {0.05, 0}, {0.03, 0}}, {0.5, 0}, ""};
    double sum = 0.0;
    for (int k = 0; k < 8; ++k) {
      eighth.sides = sides_at(0.12 + (k & 1 ? 0.02 : -0.02),
                              0.08 + (k & 2 ? 0.025 : -0.025),
                              0.01 + (k & 4 ? 0.015 : -0.015));
      sum += first_alone(eighth);
    }
    // 1e-8 of the far masses' pull is what the torque model leaves
    CHECK(first_alone(whole) == within_rel(sum, 1e-7));
  }

  TEST_CASE("places given one by one in the symmetric arrangement pull like the separation") {
    Apparatus placed = reference_balance();
    placed.separation_m.reset();
    placed.sides = nightswing::test::symmetric_sides(0.1, 0.06);
    for (const double theta_rad : {0.0, 0.005}) {
      const BoomTorque one_by_one = mean_torque(placed, theta_rad);
      const BoomTorque symmetric = boom_torque(reference_balance(), Side::kPlus, theta_rad);
      CHECK(one_by_one.near_pairs.torque == within_rel(symmetric.near_pairs.torque, 1e-12));
      CHECK(one_by_one.far_pairs.torque == within_rel(symmetric.far_pairs.torque, 1e-12));
      CHECK(one_by_one.rod.torque == within_rel(symmetric.rod.torque, 1e-12));
      CHECK(one_by_one.total().slope == within_rel(symmetric.total().slope, 1e-12));
    }
  }

  TEST_CASE("torque over G follows the masses and the inverse of the size") {
    // M m a/b^2: all lengths doubled halve it, both masses doubled quadruple it.
    Apparatus doubled = reference_balance();
    doubled.arm_m = {0.2, 0};
    doubled.separation_m = Measured{0.12, 0};
    doubled.rod = Rod{{0.008, 0}, {0.4, 0}, {0.008, 0}};
    CHECK(torque_plus(doubled, 0.004) ==
          within_rel(torque_plus(reference_balance(), 0.004) / 2, 1e-12));
    Apparatus heavy = without_rod();
    heavy.source.mass_kg = {8.0, 0};
    heavy.test.mass_kg = {0.1, 0};
    CHECK(torque_plus(heavy) == within_rel(4 * torque_plus(without_rod()), 1e-12));
  }

  TEST_CASE("the torque of sources that are away is a bug of the caller") {
    CHECK_THROWS_AS(static_cast<void>(boom_torque(reference_balance(), Side::kAway, 0.0)),
                    std::invalid_argument);
  }

  TEST_CASE("masses inside each other are a bug of the caller") {
    const Box brick{{0.08, 0}, {0.13, 0}, {0.05, 0}};
    const Apparatus overlapping = with_source(brick, 4.0, 0.06);
    CHECK_THROWS_AS(static_cast<void>(boom_torque(overlapping, Side::kPlus, 0.0)),
                    std::invalid_argument);
  }
}
