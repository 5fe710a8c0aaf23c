#include "analysis/balance/pull_curve.h"

#include <doctest/doctest.h>

#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/near.h"

using namespace nightswing::analysis;
using namespace nightswing::test;

namespace {

/// Upright cylinders as source masses, 65 mm away.
Apparatus with_cylinders() {
  Apparatus balance = reference_balance();
  balance.source.shape =
      Cylinder{.diameter_m = {0.09, 0}, .length_m = {0.07, 0}, .axis = CylinderAxis::kVertical};
  balance.separation_m = Measured{0.065, 0};
  return balance;
}

}  // namespace

TEST_SUITE("pull curve") {
  TEST_CASE("between the angles worked out it has the torque of the shapes") {
    for (const Apparatus& balance :
         {reference_balance(), unsymmetric_balance(), with_cylinders()}) {
      const PullCurve pull(balance);
      // Places that lie differently between two angles, up to the curve's end.
      for (const double share : {0.0, 0.104, 0.27, 0.479, 0.729, 0.937, 1.0}) {
        const double theta_rad = share * pull.farthest_rad();
        CAPTURE(theta_rad);
        const TorquePerG truth = mean_torque(balance, theta_rad).total();
        // as promised; the slope is a derivative of the cubic, one power of a step worse
        CHECK(pull.at(theta_rad).torque == within_rel(truth.torque, 1e-6));
        CHECK(pull.at(theta_rad).slope == within_rel(truth.slope, 1e-5));
      }
    }
  }

  TEST_CASE("across a wide gap it is still good where the boom rests") {
    Apparatus balance = reference_balance();
    balance.separation_m = Measured{0.16, 0};  // three times what the masses need to touch
    const PullCurve pull(balance);
    for (const double share : {0.01, 0.1, 0.29, 0.98}) {
      const double theta_rad = share * pull.farthest_rad();
      CAPTURE(theta_rad);
      CHECK(pull.at(theta_rad).torque ==
            within_rel(mean_torque(balance, theta_rad).total().torque, share < 0.3 ? 1e-6 : 1e-4));
    }
  }

  TEST_CASE("the side whose source masses stand nearer decides how soft a wire may be") {
    Apparatus nearer = unsymmetric_balance();
    const double before = PullCurve(nearer).critical_kappa_per_g();
    nearer.sides->minus[1].across_m = {0.056, 0};
    CHECK(PullCurve(nearer).critical_kappa_per_g() > before);
  }

  TEST_CASE("beyond its end nothing is made up") {
    const PullCurve pull(reference_balance());
    CHECK(pull.farthest_rad() < pull.contact_rad());
    CHECK_THROWS_AS(static_cast<void>(pull.at(pull.contact_rad())), std::invalid_argument);
    CHECK_THROWS_AS(static_cast<void>(pull.at(-1e-3)), std::invalid_argument);
  }
}
