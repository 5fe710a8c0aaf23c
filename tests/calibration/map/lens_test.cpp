#include "calibration/map/lens.h"

#include <array>
#include <cmath>

#include <doctest/doctest.h>

#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using Eigen::Vector2d;
using test::within_abs;
using test::within_rel;

constexpr std::array<double, 3> kTerms{0.12, -0.05, 0.02};

}  // namespace

TEST_SUITE_BEGIN("lens");

TEST_CASE("the offset is d (k1 r^2 + k2 r^4 + k3 r^6)") {
  const Vector2d d(0.6, -0.8);  // r = 1
  const auto at = undistortion<double>(d, kTerms);
  CHECK(at.offset.x() == within_rel(0.6 * 0.09, 1e-14));
  CHECK(at.offset.y() == within_rel(-0.8 * 0.09, 1e-14));
  const auto half = undistortion<double>(0.5 * d, kTerms);
  const double factor = 0.12 / 4.0 - 0.05 / 16.0 + 0.02 / 64.0;
  CHECK(half.offset.x() == within_rel(0.3 * factor, 1e-14));
}

TEST_CASE("a lens without terms leaves every place where it is") {
  const auto at = undistortion<double>(Vector2d(0.6, -0.8), {});
  CHECK(at.offset.norm() == 0.0);
  CHECK(at.derivative == Eigen::Matrix2d::Identity());
}

TEST_CASE("the derivative is that of the straightened place, by central differences") {
  constexpr double kStep = 1e-5;
  for (const Vector2d& d : {Vector2d(0.0, 0.0), Vector2d(0.7, 0.2), Vector2d(-0.3, 0.9)}) {
    const auto at = undistortion<double>(d, kTerms);
    for (Eigen::Index k = 0; k < 2; ++k) {
      const Vector2d step = kStep * Vector2d::Unit(k);
      const Vector2d up = d + step + undistortion<double>(d + step, kTerms).offset;
      const Vector2d down = d - step + undistortion<double>(d - step, kTerms).offset;
      const Vector2d expected = (up - down) / (2.0 * kStep);
      // Third derivative of about 1 times step^2, and 1e-16 / step of rounding: 1e-10, 1e-11.
      CHECK((at.derivative.col(k) - expected).norm() == within_abs(0.0, 1e-9));
    }
  }
}

TEST_CASE("a barrel turns round where the derivative of r + k1 r^3 vanishes") {
  for (const double k1 : {-0.1, -0.3}) {
    const std::array<double, 1> terms{k1};
    // 1 + 3 k1 r^2 = 0; the search goes in steps of 0.01 and stays inside.
    const double turn = 1.0 / std::sqrt(-3.0 * k1);
    const double reach = monotonic_reach(terms);
    CHECK(reach <= turn);
    CHECK(reach > turn - 0.02);
  }
}

TEST_CASE("a lens that never turns round is used as far as terms are meant to hold") {
  CHECK(monotonic_reach({}) == kLensReach);
  const std::array<double, 1> pincushion{0.2};
  CHECK(monotonic_reach(pincushion) == kLensReach);
}

TEST_CASE("the stored distance is found again from the straightened one") {
  for (const auto& terms : {std::array<double, 3>{0.12, -0.05, 0.02},
                            std::array<double, 3>{-0.2, 0.0, 0.0},
                            std::array<double, 3>{0.0, 0.0, 0.0}}) {
    const double reach = monotonic_reach(terms);
    for (const double share : {0.0, 0.3, 0.7, 0.95}) {
      const double r = share * std::min(1.2, reach);
      const double r2 = r * r;
      const double straight =
          r * (1.0 + terms[0] * r2 + terms[1] * r2 * r2 + terms[2] * r2 * r2 * r2);
      // Newton's steps end below 1e-16; where the slope is small the rounding of r counts more.
      CHECK(distorted_radius(straight, terms, reach) == within_abs(r, 1e-12));
    }
  }
}

TEST_CASE("a straightened distance beyond reach gives the reach") {
  const std::array<double, 1> terms{-0.3};
  const double reach = monotonic_reach(terms);
  CHECK(distorted_radius(5.0, terms, reach) == within_abs(reach, 1e-9));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
