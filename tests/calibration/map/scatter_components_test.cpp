#include "calibration/map/scatter_components.h"

#include <cmath>
#include <vector>

#include <doctest/doctest.h>
#include <Eigen/LU>
#include <opencv2/core.hpp>

#include "calibration/map/wall_map.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::within_abs;

constexpr double kStated_px = 0.1;
constexpr int kMarkers = 12;
constexpr int kPoints = 4;

/// A straight line through markers of four points, fitted by least squares to y = x = line +
/// errors: widening and common_px as given. Returns the estimate of both.
ScatterComponents estimated(double widening, double common_px, cv::RNG& random) {
  Eigen::MatrixXd design(kMarkers * kPoints, 2);
  Eigen::MatrixXd errors_px(kMarkers * kPoints, 2);
  for (int m = 0; m < kMarkers; ++m) {
    const double common_x_px = random.gaussian(common_px);
    const double common_y_px = random.gaussian(common_px);
    for (int k = 0; k < kPoints; ++k) {
      const int row = kPoints * m + k;
      design.row(row) << 1.0, m / 6.0 - 1.0;
      errors_px.row(row) << common_x_px + random.gaussian(widening * kStated_px),
          common_y_px + random.gaussian(widening * kStated_px);
    }
  }
  // x and y have a line each: four unknowns.
  const Eigen::MatrixXd information = design.transpose() * design / (kStated_px * kStated_px);
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(4, 4);
  covariance.topLeftCorner<2, 2>() = covariance.bottomRightCorner<2, 2>() = information.inverse();
  const Eigen::MatrixXd fitted =
      information.inverse() * design.transpose() * errors_px / (kStated_px * kStated_px);
  const Eigen::MatrixXd residuals = (errors_px - design * fitted) / kStated_px;
  std::vector<WhitenedMarker> markers;
  for (int m = 0; m < kMarkers; ++m) {
    Eigen::MatrixXd along_x = Eigen::MatrixXd::Zero(kPoints, 4);
    Eigen::MatrixXd along_y = Eigen::MatrixXd::Zero(kPoints, 4);
    along_x.leftCols<2>() = design.middleRows(kPoints * m, kPoints) / kStated_px;
    along_y.rightCols<2>() = along_x.leftCols<2>();
    markers.push_back({.u_px = Eigen::VectorXd::Constant(kPoints, kStated_px),
                       .whitening = Eigen::MatrixXd::Identity(kPoints, kPoints) / kStated_px,
                       .residuals = residuals.middleRows(kPoints * m, kPoints),
                       .jacobian_x = along_x,
                       .jacobian_y = along_y});
  }
  return estimate_scatter(markers, covariance, Eigen::MatrixXd::Zero(4, 4), {});
}

}  // namespace

TEST_SUITE_BEGIN("scatter components");

TEST_CASE("both components of drawn errors are found again without bias") {
  cv::RNG random(12);
  double own2 = 0.0;
  double common2 = 0.0;
  constexpr int kDraws = 400;
  for (int i = 0; i < kDraws; ++i) {
    const ScatterComponents scatter = estimated(2.0, 0.3, random);
    own2 += scatter.widening * scatter.widening / kDraws;
    common2 += scatter.common_px * scatter.common_px / kDraws;
  }
  // 72 degrees of freedom within markers: one draw scatters by sqrt(2 / 72) = 17 %, the mean by
  // 0.8 %; 20 between markers, (0.09 + 0.01) sqrt(2 / 20) = 0.032, the mean by 0.0016. Three times.
  CHECK(own2 == within_abs(4.0, 0.1));
  CHECK(common2 == within_abs(0.09, 0.005));
}

TEST_CASE("errors as stated stay as stated") {
  cv::RNG random(13);
  double common2 = 0.0;
  for (int i = 0; i < 100; ++i) {
    const ScatterComponents scatter = estimated(1.0, 0.0, random);
    CHECK(scatter.widening >= 1.0);
    CHECK(scatter.widening < 1.4);  // 1 + 2 sqrt(1 / 144) and twice that
    common2 += scatter.common_px * scatter.common_px / 100;
  }
  CHECK(common2 < 0.25 * kStated_px * kStated_px);  // what four points leave of a marker's place
}

TEST_CASE("the whitening is the inverse of the covariance's root") {
  const Eigen::Vector3d u_px(0.1, 0.2, 0.3);
  const ScatterComponents scatter{.widening = 1.5, .common_px = 0.25};
  const Eigen::MatrixXd w = whitening_of(u_px, scatter);
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Constant(0.25 * 0.25);
  covariance.diagonal() += 2.25 * u_px.array().square().matrix();
  CHECK((w * covariance * w.transpose() - Eigen::Matrix3d::Identity()).norm() < 1e-12);
}

// Markers that err as wholes, six times what their points say: the case in which the covariance of
// independent points claims far too little.
TEST_CASE("the map's uncertainty holds for markers that err as wholes") {
  const cv::Matx33d view =
      test::pixel_from_wall_matrix({.yaw_rad = 0.3, .pitch_rad = 0.2}, {1280, 720});
  const PixelPoint from = test::project(view, {48.0, 35.0});
  const PixelPoint to = test::project(view, {192.0, 35.0});
  cv::RNG random(14);
  double sum = 0.0;
  constexpr int kFits = 150;
  for (int i = 0; i < kFits; ++i) {
    std::vector<ReferencePoint> points;
    for (int marker = 0; marker < kMarkers; ++marker) {
      const int pair = marker / 2;
      const double x_mm = 20.0 + 40.0 * pair;
      const double y_mm = marker % 2 == 0 ? -30.0 : 80.0;
      const double common_x_px = random.gaussian(0.12);
      const double common_y_px = random.gaussian(0.12);
      for (const WallPoint wall : {WallPoint{x_mm - 8.0, y_mm + 8.0},
                                   WallPoint{x_mm + 8.0, y_mm + 8.0},
                                   WallPoint{x_mm + 8.0, y_mm - 8.0},
                                   WallPoint{x_mm - 8.0, y_mm - 8.0}}) {
        PixelPoint pixel = test::project(view, wall);
        pixel.x_px += common_x_px + random.gaussian(0.02);
        pixel.y_px += common_y_px + random.gaussian(0.02);
        points.push_back({.pixel = pixel, .wall = wall, .u_px = 0.02, .marker = marker});
      }
    }
    const MapFit fit = fit_plane_map(points);
    REQUIRE(fit.status == MapStatus::kFitted);
    const WallPoint a = wall_from_pixel(fit.map, from);
    const WallPoint b = wall_from_pixel(fit.map, to);
    const double error_mm = std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm) - 144.0;
    sum += std::pow(error_mm / displacement_uncertainty_mm(fit.map, from, to), 2);
  }
  // 16 degrees of freedom between markers widen the pull by some 6 %, 150 fits scatter by 6 %. The
  // covariance of independent points alone would give about 12; sheets count as bent from 0.03 mm
  // on and are then stated up to 2.5 times wider.
  const double width = std::sqrt(sum / kFits);
  CHECK(width > 0.6);
  CHECK(width < 1.25);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
