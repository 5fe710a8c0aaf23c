#include "tracker/spot/learned_width.h"

#include <cmath>

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing;
using test::within_rel;
using tracker::LearnedWidth;
using tracker::SpotFit;

namespace {

constexpr double kRoundingOfMeans = 1e-12;  // relative, of means of equal values

SpotFit spot(double sigma_x_px, double sigma_y_px) {
  SpotFit fit;
  fit.shape.sigma_x_px = sigma_x_px;
  fit.shape.sigma_y_px = sigma_y_px;
  return fit;
}

/// Spots of 4 px and 9 px whose widths scatter by `share` up and down.
LearnedWidth after(int spots, double share = 0.0) {
  LearnedWidth width;
  for (int k = 0; k < spots; ++k) {
    const double factor = std::exp(k % 2 == 0 ? share : -share);
    width.learn(spot(4.0 * factor, 9.0 * factor));
  }
  return width;
}

}  // namespace

TEST_SUITE("learned_width") {
  TEST_CASE("five spots make a width known, and lights of another are none from then on") {
    CHECK_FALSE(after(4).is_known());
    CHECK(after(4).admits(spot(40.0, 90.0).shape));
    const LearnedWidth width = after(5);
    CHECK(width.is_known());
    CHECK(width.sigma_x_px() == within_rel(4.0, kRoundingOfMeans));
    CHECK(width.sigma_y_px() == within_rel(9.0, kRoundingOfMeans));
    CHECK(width.width_px() == within_rel(6.0, kRoundingOfMeans));
    CHECK(width.admits(spot(4.0 * std::exp(0.29), 9.0).shape));
    CHECK_FALSE(width.admits(spot(4.0 * std::exp(0.31), 9.0).shape));
    CHECK_FALSE(width.admits(spot(4.0, 9.0 * std::exp(-0.31)).shape));
  }

  TEST_CASE("where fits are uncertain of the width, so is what it may be") {
    LearnedWidth width;
    SpotFit fit = spot(4.0, 9.0);
    fit.u_log_sigma = 0.1;
    for (int k = 0; k < 5; ++k) width.learn(fit);
    // 0.3 and three times 0.1.
    CHECK(width.admits(spot(4.0 * std::exp(0.59), 9.0).shape));
    CHECK_FALSE(width.admits(spot(4.0 * std::exp(0.61), 9.0).shape));
  }

  TEST_CASE("a spot is doubted that is off by more than 4 %, and six times the usual scatter") {
    CHECK_FALSE(after(19).doubts(spot(8.0, 9.0).shape));  // too early to say
    const LearnedWidth steady = after(20);
    CHECK_FALSE(steady.doubts(spot(4.0 * std::exp(0.039), 9.0).shape));
    CHECK(steady.doubts(spot(4.0 * std::exp(0.041), 9.0).shape));
    CHECK(steady.doubts(spot(4.0, 9.0 * std::exp(-0.041)).shape));
    // Six times 2 % and a little more, as is learned of so few.
    const LearnedWidth scattering = after(20, 0.02);
    CHECK_FALSE(scattering.doubts(spot(4.0 * std::exp(0.1), 9.0).shape));
    CHECK(scattering.doubts(spot(4.0 * std::exp(0.2), 9.0).shape));
  }

  TEST_CASE("slant and halo are doubted beyond a tenth") {
    const LearnedWidth width = after(20);
    SpotFit slanted = spot(4.0, 9.0);
    slanted.shape.slant = 0.09;
    CHECK_FALSE(width.doubts(slanted.shape));
    slanted.shape.slant = -0.11;
    CHECK(width.doubts(slanted.shape));
    SpotFit halo = spot(4.0, 9.0);
    halo.shape.halo_share = 0.11;
    CHECK(width.doubts(halo.shape));
  }

  TEST_CASE("a spot that is doubted for 25 frames in a row has changed") {
    LearnedWidth width = after(30);
    const SpotFit other = spot(4.4, 9.0);
    for (int k = 0; k < 24; ++k) width.note_doubtful(other);
    CHECK(width.sigma_x_px() == within_rel(4.0, kRoundingOfMeans));
    width.learn(spot(4.0, 9.0));  // not in a row
    for (int k = 0; k < 24; ++k) width.note_doubtful(other);
    CHECK(width.sigma_x_px() == within_rel(4.0, kRoundingOfMeans));
    width.note_doubtful(other);
    CHECK(width.sigma_x_px() == within_rel(4.4, kRoundingOfMeans));
    CHECK_FALSE(width.is_known());
  }

  TEST_CASE("25 lights of another width in a row, and nothing is known any more") {
    LearnedWidth width = after(30);
    for (int k = 0; k < 24; ++k) width.note_no_spot(true);
    width.note_no_spot(false);
    for (int k = 0; k < 24; ++k) width.note_no_spot(true);
    CHECK(width.has_seen_any());
    width.note_no_spot(true);
    CHECK_FALSE(width.has_seen_any());
  }
}
