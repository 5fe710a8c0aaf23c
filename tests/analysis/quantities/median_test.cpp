#include "analysis/quantities/median.h"

#include <doctest/doctest.h>

using nightswing::analysis::median_of;

TEST_SUITE("median") {
  TEST_CASE("the median of an odd count is the middle value, of an even count the mean of two") {
    CHECK(median_of({3.0}) == 3.0);
    CHECK(median_of({9.0, 1.0, 5.0}) == 5.0);
    CHECK(median_of({9.0, 1.0, 5.0, 2.0}) == 3.5);
    CHECK(median_of({4.0, 4.0}) == 4.0);
    CHECK(median_of({-1.0, -7.0, 1e9, 0.0}) == -0.5);
  }
}
