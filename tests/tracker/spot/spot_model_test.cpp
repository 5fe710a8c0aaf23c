#include "tracker/spot/spot_model.h"

#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/core.hpp>

#include "tests/support/near.h"
#include "tests/support/synthetic_spot.h"

using namespace nightswing;
using test::within_abs;
using test::within_rel;
using tracker::SpotForm;
using tracker::SpotModel;
using tracker::SpotPatch;
using tracker::SpotShape;

namespace {

SpotPatch plain_patch(int columns, int rows, int left_px = 0, int top_px = 0) {
  return {.left_px = left_px,
          .top_px = top_px,
          .counts = Eigen::ArrayXXd::Zero(columns, rows),
          .reflectance = Eigen::ArrayXXd::Ones(columns, rows),
          .at_least = Eigen::ArrayXXd::Zero(columns, rows)};
}

/// Neither square nor at the corner of the picture, and with a reflectance of its own in each
/// pixel, so that a mistaken index shows.
SpotPatch uneven_patch() {
  SpotPatch patch = plain_patch(23, 17, 310, 205);
  for (Eigen::Index j = 0; j < patch.rows(); ++j) {
    for (Eigen::Index i = 0; i < patch.columns(); ++i) {
      patch.reflectance(i, j) = 0.6 + 0.4 * std::sin(0.9 * static_cast<double>(i + 3 * j * j));
    }
  }
  return patch;
}

constexpr SpotShape kShape{.peak = 80,
                           .x_px = 320.6,
                           .sigma_x_px = 2.2,
                           .y_px = 213.3,
                           .sigma_y_px = 3.1,
                           .level = 18,
                           .slope_x = 2,
                           .slope_y = -1};

/// The same in every form.
std::vector<SpotShape> shapes() {
  SpotShape slanted = kShape;
  slanted.form = SpotForm::kSlanted;
  slanted.slant = -0.4;
  SpotShape haloed = slanted;
  haloed.form = SpotForm::kHaloed;
  haloed.halo_share = 0.15;
  haloed.halo_width = 2.4;
  return {kShape, slanted, haloed};
}

/// Derivatives of the counts by each parameter in turn, as central differences. The relative error
/// is step^2 / 6 times the third derivative: 2e-9 of the derivatives here, and the rounding of
/// counts of about 100 adds 1e-14 * 100 / step = 1e-8.
std::vector<Eigen::ArrayXXd> differences(const SpotPatch& patch, const SpotShape& shape) {
  constexpr double kStep = 1e-4;
  const auto counts_at = [&](int parameter, double change) {
    SpotShape moved = shape;
    const std::array<double*, 10> fields{&moved.peak,
                                         &moved.x_px,
                                         &moved.sigma_x_px,
                                         &moved.y_px,
                                         &moved.sigma_y_px,
                                         &moved.level,
                                         &moved.slope_x,
                                         &moved.slope_y,
                                         &moved.slant,
                                         &moved.halo_share};
    if (parameter < 10) {
      *fields[static_cast<std::size_t>(parameter)] += change;
    } else {
      moved.halo_width *= std::exp(change);
    }
    return SpotModel(patch, moved).counts();
  };
  std::vector<Eigen::ArrayXXd> by;
  for (int p = 0; p < tracker::parameters_of(shape.form); ++p) {
    by.push_back((counts_at(p, kStep) - counts_at(p, -kStep)) / (2.0 * kStep));
  }
  return by;
}

constexpr double kDifference = 1e-6;  // relative: the error named above with room to spare

/// Some weight that is not symmetric in any direction.
Eigen::ArrayXXd uneven_weight(const SpotPatch& patch) {
  return 0.5 + 0.3 * (patch.reflectance * 7.0).cos();
}

}  // namespace

TEST_SUITE("spot_model") {
  TEST_CASE("the light of a pixel is the mean of the Gaussian over it, by quadrature") {
    const test::SpotTruth spot{100, 30.37, 24.81, 1.1, 2.3};
    const cv::Mat light = test::spot_light({61, 51}, spot);
    const SpotPatch patch = plain_patch(61, 51);
    const SpotModel model(patch,
                          {.peak = 100,
                           .x_px = 30.37,
                           .sigma_x_px = 1.1,
                           .y_px = 24.81,
                           .sigma_y_px = 2.3,
                           .level = 20});
    double worst = 0;
    for (int y = 0; y < light.rows; ++y) {
      for (int x = 0; x < light.cols; ++x) {
        worst = std::max(worst, std::abs(model.spot()(x, y) - light.at<double>(y, x)));
      }
    }
    // Quadrature with 20 points a pixel is exact to 1e-9 of the peak.
    CHECK(worst == within_abs(0, 1e-6));
    CHECK((model.counts() - model.spot() - 20.0).abs().maxCoeff() == within_abs(0, 1e-12));
  }

  TEST_CASE("all pixels together hold the whole light of the spot") {
    // Integral of the Gaussian: 2 pi sigma_x sigma_y peak. The patch ends 9 sigma away, beyond
    // which there is 1e-18 of it.
    const SpotPatch patch = plain_patch(61, 61);
    for (const double sigma_px : {0.05, 0.4, 3.0}) {
      const SpotModel model(patch,
                            {.peak = 50,
                             .x_px = 30.3,
                             .sigma_x_px = sigma_px,
                             .y_px = 29.8,
                             .sigma_y_px = 0.9 * sigma_px});
      const double whole = 2.0 * std::numbers::pi * 50.0 * 0.9 * sigma_px * sigma_px;
      CHECK(model.spot().sum() == within_rel(whole, 1e-12));  // sums of 3721 rounded numbers
    }
  }

  TEST_CASE(
      "a spot much smaller than a pixel lights one, or two alike when it is on their border") {
    const SpotPatch patch = plain_patch(9, 9, 100, 200);
    SpotShape shape{.peak = 1000, .x_px = 104, .sigma_x_px = 0.05, .y_px = 203, .sigma_y_px = 0.05};
    const double whole = 2.0 * std::numbers::pi * 1000.0 * 0.05 * 0.05;
    CHECK(SpotModel(patch, shape).spot()(4, 3) == within_rel(whole, 1e-12));
    shape.x_px = 104.5;
    const SpotModel halved(patch, shape);
    CHECK(halved.spot()(4, 3) == within_rel(0.5 * whole, 1e-12));
    CHECK(halved.spot()(5, 3) == within_rel(0.5 * whole, 1e-12));
  }

  TEST_CASE("the plane has its level in the middle and its slopes at the borders of the patch") {
    SpotPatch patch = plain_patch(5, 3);
    patch.reflectance(4, 2) = 0.5;
    const SpotModel model(patch, {.level = 40, .slope_x = 8, .slope_y = 3});
    const double rounding = 1e-12;
    CHECK(model.counts()(2, 1) == within_abs(40, rounding));
    CHECK(model.counts()(0, 0) == within_abs(40 - 8 - 3, rounding));
    CHECK(model.counts()(0, 2) == within_abs(40 - 8 + 3, rounding));
    CHECK(model.counts()(3, 1) == within_abs(40 + 4, rounding));
    CHECK(model.counts()(4, 2) == within_abs(0.5 * (40 + 8 + 3), rounding));
    const SpotPatch one_pixel = plain_patch(1, 1);
    const SpotModel single(one_pixel, {.level = 40, .slope_x = 8, .slope_y = 3});
    CHECK(single.counts()(0, 0) == within_abs(40, rounding));
  }

  TEST_CASE("print that swallows light dims spot and wall alike") {
    const SpotPatch printed = uneven_patch();
    SpotPatch plain = printed;
    plain.reflectance.setOnes();
    const SpotModel on_print(printed, kShape);
    const SpotModel on_wall(plain, kShape);
    CHECK((on_print.spot() - on_wall.spot()).abs().maxCoeff() == 0.0);
    CHECK((on_print.counts() - printed.reflectance * on_wall.counts()).abs().maxCoeff() ==
          within_abs(0, 1e-12));
  }

  TEST_CASE("a tilted spot with a halo lights each pixel as quadrature says") {
    // Axes of 3 and 2 px, tilted by 30 degrees, and a halo twice as wide. Of the inverse covariance
    // of the light the diagonal holds the widths of the profiles, the rest the slant.
    const double tilt = std::numbers::pi / 6.0;
    const test::SpotTruth spot{100, 30.37, 24.81, 3.0, 2.0, tilt, 0.2, 2.0};
    const cv::Mat light = test::spot_light({61, 51}, spot);
    const double c = std::cos(tilt);
    const double s = std::sin(tilt);
    const double xx = c * c / 9.0 + s * s / 4.0;
    const double yy = s * s / 9.0 + c * c / 4.0;
    const double xy = c * s * (1.0 / 9.0 - 1.0 / 4.0);
    const SpotPatch patch = plain_patch(61, 51);
    const SpotModel model(patch,
                          {.peak = 100,
                           .x_px = 30.37,
                           .sigma_x_px = 1.0 / std::sqrt(xx),
                           .y_px = 24.81,
                           .sigma_y_px = 1.0 / std::sqrt(yy),
                           .slant = -xy / std::sqrt(xx * yy),
                           .halo_share = 0.2,
                           .halo_width = 2.0,
                           .form = SpotForm::kHaloed});
    // The model leaves slant^2 / (12 sigma^2) of the squares of the widths out, here 2e-3: as much
    // of the peak.
    double worst = 0;
    for (int y = 0; y < light.rows; ++y) {
      for (int x = 0; x < light.cols; ++x) {
        worst = std::max(worst, std::abs(model.spot()(x, y) - light.at<double>(y, x)));
      }
    }
    CAPTURE(worst);
    CHECK(worst < 0.3);
  }

  TEST_CASE("the gradient is the sum of numerical derivatives, pixel by pixel") {
    const SpotPatch patch = uneven_patch();
    for (const SpotShape& shape : shapes()) {
      const SpotModel model(patch, shape);
      const auto by = differences(patch, shape);
      const Eigen::ArrayXXd pull = uneven_weight(patch) - 0.4;
      const tracker::ShapeVector gradient = model.gradient(pull);
      const auto parameters = static_cast<int>(by.size());
      REQUIRE(gradient.size() == parameters);
      for (int p = 0; p < parameters; ++p) {
        CAPTURE(p);
        const Eigen::ArrayXXd& by_p = by[static_cast<std::size_t>(p)];
        const double size = std::sqrt(pull.square().sum() * by_p.square().sum());
        CHECK(gradient(p) == within_abs((pull * by_p).sum(), kDifference * size));
        const tracker::ShapeVector unit = tracker::ShapeVector::Unit(parameters, p);
        CHECK((model.along(unit) - by_p).abs().maxCoeff() ==
              within_abs(0, kDifference * by_p.abs().maxCoeff()));
      }
    }
  }

  TEST_CASE("the normal matrix holds the weighted products of numerical derivatives") {
    const SpotPatch patch = uneven_patch();
    const Eigen::ArrayXXd weight = uneven_weight(patch);
    for (const SpotShape& shape : shapes()) {
      const auto by = differences(patch, shape);
      const tracker::ShapeMatrix normal = SpotModel(patch, shape).normal_matrix(weight);
      const auto parameters = static_cast<int>(by.size());
      for (int p = 0; p < parameters; ++p) {
        for (int q = 0; q < parameters; ++q) {
          CAPTURE(p);
          CAPTURE(q);
          const Eigen::ArrayXXd& by_p = by[static_cast<std::size_t>(p)];
          const Eigen::ArrayXXd& by_q = by[static_cast<std::size_t>(q)];
          const double size =
              std::sqrt((weight * by_p.square()).sum() * (weight * by_q.square()).sum());
          CHECK(normal(p, q) == within_abs((weight * by_p * by_q).sum(), kDifference * size));
        }
      }
    }
  }

  TEST_CASE("combinations of derivatives in each pixel equal those of numerical ones") {
    const SpotPatch patch = uneven_patch();
    for (const SpotShape& shape : shapes()) {
      const SpotModel model(patch, shape);
      const auto by = differences(patch, shape);
      const auto parameters = static_cast<int>(by.size());
      tracker::ShapeVector c(tracker::kMostShapeParameters);
      c << 0.3, -1.2, 0.7, 2.1, -0.4, 1.0, -0.8, 0.5, 1.4, -0.6, 0.9;
      c.conservativeResize(parameters);
      // Symmetric, and no entry like another.
      tracker::ShapeMatrix form = c * c.transpose();
      for (int p = 0; p < parameters; ++p) form(p, p) += 0.1 * (p + 1);
      Eigen::ArrayXXd along = Eigen::ArrayXXd::Zero(patch.columns(), patch.rows());
      Eigen::ArrayXXd quadratic = along;
      for (int p = 0; p < parameters; ++p) {
        const Eigen::ArrayXXd& by_p = by[static_cast<std::size_t>(p)];
        along += c(p) * by_p;
        for (int q = 0; q < parameters; ++q) {
          quadratic += form(p, q) * by_p * by[static_cast<std::size_t>(q)];
        }
      }
      CHECK((model.along(c) - along).abs().maxCoeff() ==
            within_abs(0, kDifference * along.abs().maxCoeff()));
      CHECK((model.quadratic_form(form) - quadratic).abs().maxCoeff() ==
            within_abs(0, kDifference * quadratic.abs().maxCoeff()));
    }
  }
}
