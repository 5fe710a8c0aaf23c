#include "analysis/positions/wall_doubt.h"

#include <doctest/doctest.h>

#include "tests/support/near.h"

using nightswing::analysis::WallDoubt;
using nightswing::test::within_rel;

TEST_SUITE("wall_doubt") {
  // Variance of a sum with correlation: JCGM 100:2008, (16).
  TEST_CASE("independent parts add in squares, correlated ones as their correlation says") {
    WallDoubt doubt{.scale_relative_u = 0.003, .nonlinearity_relative_u = 0.004};
    CHECK(doubt.relative_u() == within_rel(0.005, 1e-12));
    doubt.correlation = 1.0;
    CHECK(doubt.relative_u() == within_rel(0.007, 1e-12));
    doubt.correlation = -1.0;
    CHECK(doubt.relative_u() == within_rel(0.001, 1e-12));
    doubt.correlation = 0.5;  // 9 + 16 + 12 = 37
    CHECK(doubt.relative_u() == within_rel(0.001 * 6.082762530298219, 1e-12));
  }

  TEST_CASE("parts that cancel leave nothing, not the root of a rounding error") {
    const WallDoubt doubt{
        .scale_relative_u = 0.1, .nonlinearity_relative_u = 0.1, .correlation = -1.0000000001};
    CHECK(doubt.relative_u() == 0.0);
    CHECK(WallDoubt{}.relative_u() == 0.0);
  }
}
