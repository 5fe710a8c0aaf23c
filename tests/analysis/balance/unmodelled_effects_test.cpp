// What stands in no row of the budget, with the sizes that follow from the balance.
#include "analysis/balance/unmodelled_effects.h"

#include <algorithm>

#include <doctest/doctest.h>

#include "tests/analysis/balance/reference_balance.h"

using namespace nightswing::analysis;
using nightswing::test::reference_balance;

namespace {

std::string size_of(const Apparatus& apparatus, std::string_view begin) {
  const auto effects = unmodelled_effects(apparatus);
  const auto found = std::ranges::find_if(
      effects, [&](const UnmodelledEffect& e) { return e.effect.starts_with(begin); });
  REQUIRE(found != effects.end());
  return found->size;
}

}  // namespace

TEST_SUITE("unmodelled_effects") {
  TEST_CASE("the air that light sources displace counts more than that of lead") {
    Apparatus apparatus = reference_balance();
    // 1.2 kg/m3 of air over 11 340 of lead, and over 1700 of packed sand (handbook, from memory).
    CHECK(size_of(apparatus, "air that the sources displace").starts_with("0.01 %"));
    apparatus.source.mass_kg.value *= 1700.0 / 11340.0;
    CHECK(size_of(apparatus, "air that the sources displace").starts_with("0.07 %"));
  }

  TEST_CASE("heights that differ are judged by the separation of this balance") {
    Apparatus apparatus = reference_balance();
    // b/(b^2 + h^2)^(3/2) is 1 % less at h = b sqrt(0.01/1.5): 4.9 mm for 60 mm.
    apparatus.separation_m->value = 0.060;
    CHECK(size_of(apparatus, "tilt") == "1 % for 4.9 mm at 60 mm");
  }
}
