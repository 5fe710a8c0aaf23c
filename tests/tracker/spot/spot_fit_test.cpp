#include "tracker/spot/spot_fit.h"

#include <cmath>
#include <random>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/support/near.h"
#include "tests/support/synthetic_spot.h"

using namespace nightswing;
using test::within_abs;
using test::within_rel;

namespace {

/// Exact counts, not rounded: what remains is the error of the model and of the fit alone.
tracker::SpotPatch exact_patch(const cv::Mat& light) {
  tracker::SpotPatch patch;
  patch.counts.resize(light.cols, light.rows);
  for (int y = 0; y < light.rows; ++y) {
    for (int x = 0; x < light.cols; ++x) patch.counts(x, y) = light.at<double>(y, x);
  }
  patch.reflectance = Eigen::ArrayXXd::Ones(light.cols, light.rows);
  patch.at_least = Eigen::ArrayXXd::Zero(light.cols, light.rows);
  return patch;
}

const cv::Size kPatchSize(61, 51);

}  // namespace

TEST_SUITE("spot_fit") {
  TEST_CASE("without noise every parameter comes back, whatever the phase on the pixel grid") {
    for (const double sigma_px : {0.8, 1.5, 4.0, 8.0}) {
      for (const double phase_px : {-0.5, -0.3, 0.0, 0.2, 0.45}) {
        CAPTURE(sigma_px);
        CAPTURE(phase_px);
        const test::SpotTruth spot{
            90, 30 + phase_px, 25 - 0.7 * phase_px, sigma_px, 0.9 * sigma_px};
        const test::PlaneTruth plane{40, 0.2, -0.1};
        const auto patch =
            exact_patch(test::spot_light(kPatchSize, spot) + test::plane_light(kPatchSize, plane));
        const auto fit = tracker::fit_spot(patch, {30, 25, 1.2 * sigma_px, sigma_px, std::nullopt});
        REQUIRE(fit.converged);
        // Steps below 1e-3 px end the fit; it converges faster than linearly.
        CHECK(fit.shape.x_px == within_abs(spot.x_px, 1e-4));
        CHECK(fit.shape.y_px == within_abs(spot.y_px, 1e-4));
        CHECK(fit.shape.sigma_x_px == within_rel(spot.sigma_x_px, 1e-3));
        CHECK(fit.shape.sigma_y_px == within_rel(spot.sigma_y_px, 1e-3));
        CHECK(fit.shape.peak == within_rel(spot.peak, 1e-3));
        CHECK(fit.misfit == within_abs(0, 1e-3));
      }
    }
  }

  TEST_CASE(
      "without noise a tilted spot with a halo comes back, in small pixels and in large ones") {
    // Widths in pixels that are not merged, and that are. A tilt of 25 degrees.
    for (const double sigma_px : {2.0, 7.0}) {
      CAPTURE(sigma_px);
      const int side_px = static_cast<int>(10.0 * sigma_px) + 21;
      const double x_px = 0.5 * side_px + 0.3;
      const double y_px = 0.5 * side_px - 0.2;
      const test::SpotTruth spot{90, x_px, y_px, 1.5 * sigma_px, sigma_px, 0.4363, 0.15, 2.5};
      const auto patch = exact_patch(test::spot_light({side_px, side_px}, spot) +
                                     test::plane_light({side_px, side_px}, {40, 0.1, -0.1}));
      const auto fit = tracker::fit_spot(
          patch, {0.5 * side_px, 0.5 * side_px, 1.3 * sigma_px, 1.1 * sigma_px, std::nullopt});
      REQUIRE(fit.converged);
      CHECK(fit.shape.form == tracker::SpotForm::kHaloed);
      CHECK(fit.shape.x_px == within_abs(spot.x_px, 1e-3));
      CHECK(fit.shape.y_px == within_abs(spot.y_px, 1e-3));
      // What a pixel widens the spot by is not quite exact for a slant.
      CHECK(tracker::width_of(fit.shape) == within_rel(std::sqrt(1.5) * sigma_px, 0.02));
      CHECK(fit.shape.halo_share == within_abs(0.15, 0.02));
      CHECK(fit.shape.halo_width == within_abs(2.5, 0.2));
    }
  }

  TEST_CASE("a round spot in noise is neither slanted nor given a halo") {
    std::mt19937_64 random(4);
    int other = 0;
    constexpr int kPictures = 200;
    for (int k = 0; k < kPictures; ++k) {
      const cv::Mat picture =
          test::photograph(test::plane_light(kPatchSize, {40, 0, 0}),
                           test::spot_light(kPatchSize, {100, 30.2, 24.9, 3, 3}),
                           {2.0, 0, 0},
                           random);
      const auto fit =
          tracker::fit_spot(tracker::cut_patch(picture, {cv::Point(0, 0), kPatchSize}, 250),
                            {30, 25, 3, 3, std::nullopt});
      REQUIRE(fit.converged);
      if (fit.shape.form != tracker::SpotForm::kUpright) ++other;
    }
    // Four standard deviations, two-sided for the slant and one-sided for the halo: 1e-4.
    CHECK(other <= 1);
  }

  TEST_CASE("pixels that say only 'at least' leave centre, width and the hidden peak unbiased") {
    const test::SpotTruth spot{400, 30.31, 24.58, 4.0, 3.4};
    auto patch =
        exact_patch(test::spot_light(kPatchSize, spot) + test::plane_light(kPatchSize, {30, 0, 0}));
    patch.at_least = (patch.counts > 200.0).cast<double>();
    patch.counts = patch.counts.min(200.0);
    const auto fit = tracker::fit_spot(patch, {29, 26, 5, 5, std::nullopt});
    REQUIRE(fit.converged);
    CHECK(fit.shape.x_px == within_abs(spot.x_px, 1e-3));
    CHECK(fit.shape.y_px == within_abs(spot.y_px, 1e-3));
    CHECK(fit.shape.peak == within_rel(spot.peak, 1e-2));
    CHECK(fit.core_clipped == within_abs(1, 0));
  }

  TEST_CASE("a mark of known reflectance does not displace the spot") {
    const test::SpotTruth spot{100, 30.2, 24.7, 4.0, 4.0};
    const cv::Mat light =
        test::spot_light(kPatchSize, spot) + test::plane_light(kPatchSize, {60, 0, 0});
    auto patch = exact_patch(light);
    patch.reflectance.middleRows(32, 3) = 0.1;  // a black line beside the centre
    patch.counts *= patch.reflectance;
    const auto fit = tracker::fit_spot(patch, {30, 25, 4, 4, std::nullopt});
    REQUIRE(fit.converged);
    CHECK(fit.shape.x_px == within_abs(spot.x_px, 1e-3));
  }

  TEST_CASE("correlated noise widens the reported uncertainty as it widens the scatter") {
    // White noise smeared over 3 x 3 pixels, then raised to the old variance: its correlation along
    // a line is 2/3, 1/3, 0; estimate and scatter are compared over seeded pictures.
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal(0.0, 2.0);
    double pulls = 0;
    constexpr int kPictures = 150;
    for (int k = 0; k < kPictures; ++k) {
      cv::Mat noise(kPatchSize, CV_64FC1);
      for (int i = 0; i < static_cast<int>(noise.total()); ++i)
        noise.at<double>(i) = normal(random);
      cv::blur(noise, noise, cv::Size(3, 3));
      const cv::Mat light = test::spot_light(kPatchSize, {80, 30.3, 24.9, 4, 4});
      const auto patch = exact_patch(light + 3.0 * noise);
      const auto fit = tracker::fit_spot(patch, {30, 25, 4, 4, std::nullopt});
      REQUIRE(fit.converged);
      pulls += std::pow((fit.shape.x_px - 30.3) / fit.u_x_px, 2);
    }
    // 150 values: the width of the pull scatters by 6 %; the model of the correlation is coarse.
    CHECK(std::sqrt(pulls / kPictures) == within_abs(1.0, 0.25));
  }

  TEST_CASE("what cannot be fitted is said not to converge, and no number is invented") {
    const auto flat = exact_patch(test::plane_light(kPatchSize, {50, 0, 0}));
    const auto fit = tracker::fit_spot(flat, {30, 25, 3, 3, std::nullopt});
    if (fit.converged) CHECK(fit.shape.peak < 4.0);
    const auto tiny = exact_patch(test::plane_light({3, 3}, {50, 0, 0}));
    CHECK_FALSE(tracker::fit_spot(tiny, {1, 1, 1, 1, std::nullopt}).converged);
    auto all_saturated = flat;
    all_saturated.at_least.setOnes();
    const auto blind = tracker::fit_spot(all_saturated, {30, 25, 3, 3, std::nullopt});
    CHECK(std::isfinite(blind.u_x_px));
  }
}
