#include "analysis/balance/wire_stiffness.h"

#include <doctest/doctest.h>

#include "analysis/balance/mass_distribution.h"
#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing;
using namespace nightswing::analysis;
using test::within_rel;

namespace {

constexpr double kInertia_kg_m2 = 1e-3;

Apparatus with_wire(const std::string& material, Measured diameter_m = {25e-6, 0}) {
  Apparatus balance = test::reference_balance();
  balance.wire = Wire{material, diameter_m, {0.3, 0}};
  return balance;
}

bool is_doubted(const Apparatus& balance, double measured_n_m) {
  return wire_doubt(balance, measured_n_m, kInertia_kg_m2).has_value();
}

}  // namespace

TEST_SUITE("wire_stiffness") {
  TEST_CASE("the torsion constant is that of a round bar") {
    // pi * 155e9 * (25e-6)^4 / (32 * 0.3), worked by hand to six digits.
    const Wire wire{"tungsten", {25e-6, 0}, {0.3, 0}};
    CHECK(torsion_constant_n_m(wire, 155e9) == within_rel(1.98140e-8, 1e-5));
  }

  TEST_CASE("a wire may be a tenth thicker or thinner than its label, but no other wire") {
    const Apparatus balance = with_wire("tungsten");
    const Wire& wire = *balance.wire;
    const double low_n_m = torsion_constant_n_m(wire, 140e9);  // the range of the handbook
    const double high_n_m = torsion_constant_n_m(wire, 162e9);
    CHECK_FALSE(is_doubted(balance, 0.5 * (low_n_m + high_n_m)));
    CHECK_FALSE(is_doubted(balance, high_n_m * 1.4641));  // 1.1^4
    CHECK_FALSE(is_doubted(balance, low_n_m / 1.4641));
    CHECK(is_doubted(balance, high_n_m * 2.0736));  // 1.2^4
    CHECK(is_doubted(balance, low_n_m / 2.0736));
    // Unless the file says that the diameter is not known so well.
    CHECK_FALSE(is_doubted(with_wire("tungsten", {25e-6, 3e-6}), high_n_m * 2.0736));
  }

  TEST_CASE("the sentence says both periods") {
    const auto doubt = wire_doubt(with_wire("tungsten"), 4e-9, kInertia_kg_m2);
    REQUIRE(doubt);
    // 2 pi sqrt(I / kappa): 1e-3 kg m2 at 4e-9 N m per rad.
    CHECK(doubt->find("by this night it would in 3142 s") != std::string::npos);
    // 162 and 140 GPa: kappa 2.07085e-8 and 1.78963e-8 N m per rad, by hand.
    CHECK(doubt->find("would swing in 1381 to 1485 s without the sources") != std::string::npos);
    CHECK(doubt->find("(tungsten, 25 um, 300 mm)") != std::string::npos);
  }

  TEST_CASE("without a wire, or of a material that is not known, nothing is doubted") {
    CHECK_FALSE(is_doubted(test::reference_balance(), 1.0));
    CHECK_FALSE(is_doubted(with_wire("spider silk"), 1.0));
  }
}
