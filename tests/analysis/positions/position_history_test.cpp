#include "analysis/positions/position_history.h"

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

TEST_SUITE("position_history") {
  TEST_CASE("short of its room every position stands by itself") {
    PositionHistory history(100, 1.0);
    for (int k = 0; k < 50; ++k) history.add({1.0 * k, 3.0 + k, 0.5});
    const auto series = history.series();
    REQUIRE(series.size() == 50);
    CHECK(series[7].t_s == 7.0);
    CHECK(series[7].x_mm == 10.0);
    CHECK(series[7].u_mm == within_rel(0.5, 1e-12));  // rounding of 1/sqrt(1/u^2)
  }

  TEST_CASE("a night of any length keeps to the room, and its mean is that of the positions") {
    PositionHistory history(64, 1.0);
    double sum = 0.0;
    constexpr int kPositions = 20000;
    for (int k = 0; k < kPositions; ++k) {
      const double x_mm = (k * 7919) % 101;
      history.add({1.0 * k, x_mm, 0.3});
      sum += x_mm;
    }
    const auto series = history.series();
    CHECK(series.size() <= 64);
    CHECK(series.size() > 32);         // no more is given up than must be
    CHECK(history.cell_s() == 512.0);  // 20000 s over 64 cells, as a power of two
    double weight = 0.0;
    double mean = 0.0;
    for (const SwingSample& s : series) {
      weight += 1.0 / (s.u_mm * s.u_mm);
      mean += s.x_mm / (s.u_mm * s.u_mm);
    }
    CHECK(mean / weight == within_rel(sum / kPositions, 1e-9));  // sums of 2e4 rounded numbers
    CHECK(weight == within_rel(kPositions / 0.09, 1e-9));
    for (std::size_t k = 1; k < series.size(); ++k) CHECK(series[k].t_s > series[k - 1].t_s);
  }

  TEST_CASE("nothing is joined across a gap longer than a cell") {
    PositionHistory history(16, 1.0);
    for (int k = 0; k < 40; ++k) history.add({1.0 * k, 0.0, 1.0});
    for (int k = 0; k < 40; ++k) history.add({1000.0 + k, 5.0, 1.0});
    for (const SwingSample& s : history.series()) {
      CHECK((s.x_mm == 0.0 || s.x_mm == 5.0));
    }
  }
}
