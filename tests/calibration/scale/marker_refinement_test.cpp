#include "calibration/scale/marker_refinement.h"

#include <cmath>
#include <stdexcept>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::project;

/// The outer corners of marker 5 (column 2, upper row) on the wall, from the layout.
constexpr std::array<WallPoint, 4> kCorners{
    {{88.0, 92.0}, {112.0, 92.0}, {112.0, 68.0}, {88.0, 68.0}}};

cv::Mat float_picture(const cv::Matx33d& view, const test::RenderOptions& options) {
  cv::Mat values;
  test::render_scale(view, options).convertTo(values, CV_32F);
  return values;
}

/// The true corners, each moved by up to a pixel, as a detector gives them.
std::array<PixelPoint, 4> rough_corners(const cv::Matx33d& view, cv::RNG& random) {
  std::array<PixelPoint, 4> corners{};
  for (std::size_t k = 0; k < 4; ++k) {
    corners[k] = project(view, kCorners[k]);
    corners[k].x_px += random.uniform(-1.0, 1.0);
    corners[k].y_px += random.uniform(-1.0, 1.0);
  }
  return corners;
}

struct Errors {
  double edges_px = 0.0;   // root mean square of a coordinate, corners by edges
  double subpix_px = 0.0;  // the same by the search for a saddle of the gradient
};

Errors errors_over_views(double blur_px) {
  cv::RNG random(55);
  Errors errors;
  constexpr int kViews = 6;
  for (int i = 0; i < kViews; ++i) {
    const cv::Matx33d view =
        test::pixel_from_wall_matrix(test::random_pose(random, 0.5), {1280, 720});
    const cv::Mat picture =
        float_picture(view, {.blur_px = blur_px, .seed = static_cast<std::uint64_t>(i)});
    const auto rough = rough_corners(view, random);
    const auto refined = refine_marker(picture, rough);
    REQUIRE(refined.has_value());
    std::vector<cv::Point2f> subpix;
    subpix.reserve(rough.size());
    for (const PixelPoint& p : rough) {
      subpix.emplace_back(static_cast<float>(p.x_px), static_cast<float>(p.y_px));
    }
    cv::cornerSubPix(picture,
                     subpix,
                     {5, 5},
                     {-1, -1},
                     {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 50, 1e-3});
    for (std::size_t k = 0; k < 4; ++k) {
      const PixelPoint truth = project(view, kCorners[k]);
      const PixelPoint& found = refined->corners[k];
      errors.edges_px +=
          std::pow(found.x_px - truth.x_px, 2) + std::pow(found.y_px - truth.y_px, 2);
      errors.subpix_px += std::pow(static_cast<double>(subpix[k].x) - truth.x_px, 2) +
                          std::pow(static_cast<double>(subpix[k].y) - truth.y_px, 2);
    }
  }
  errors.edges_px = std::sqrt(errors.edges_px / (8.0 * kViews));
  errors.subpix_px = std::sqrt(errors.subpix_px / (8.0 * kViews));
  return errors;
}

}  // namespace

TEST_SUITE_BEGIN("marker_refinement");

TEST_CASE("edges locate corners better than a corner search does") {
  for (const double blur_px : {0.5, 1.0, 1.5}) {
    const Errors errors = errors_over_views(blur_px);
    INFO("blur ", blur_px, " edges ", errors.edges_px, " corner search ", errors.subpix_px);
    CHECK(errors.edges_px < 0.03);  // three times the 0.01 px that noise leaves at 1 px blur
    CHECK(errors.edges_px < 0.5 * errors.subpix_px);
  }
}

TEST_CASE("a finger over part of an edge moves no corner") {
  const cv::Matx33d view =
      test::pixel_from_wall_matrix({.yaw_rad = 0.1, .roll_rad = 0.05}, {1280, 720});
  const PixelPoint top = project(view, {100.0, 92.0});
  const cv::Rect finger(cv::Point(static_cast<int>(top.x_px) - 6, static_cast<int>(top.y_px) - 8),
                        cv::Size(12, 12));
  const cv::Mat picture = float_picture(view, {.covered = {finger}});
  cv::RNG random(3);
  const auto refined = refine_marker(picture, rough_corners(view, random));
  REQUIRE(refined.has_value());
  for (std::size_t k = 0; k < 4; ++k) {
    const PixelPoint truth = project(view, kCorners[k]);
    CHECK(refined->corners[k].x_px == test::within_abs(truth.x_px, 0.1));
    CHECK(refined->corners[k].y_px == test::within_abs(truth.y_px, 0.1));
  }
}

TEST_CASE("where there is no marker there are no corners") {
  const std::array<PixelPoint, 4> square{{{50.0, 50.0}, {90.0, 50.0}, {90.0, 90.0}, {50.0, 90.0}}};
  cv::Mat picture(200, 200, CV_32F, cv::Scalar(128.0));
  SUBCASE("flat gray") {}
  SUBCASE("noise") {
    cv::RNG random(8);
    random.fill(picture, cv::RNG::NORMAL, 128.0, 20.0);
  }
  SUBCASE("a white square") {
    cv::rectangle(picture, {50, 50, 40, 40}, 250.0, -1);
  }
  CHECK_FALSE(refine_marker(picture, square).has_value());
}

TEST_CASE("a square too small for its edges to be fitted is left alone") {
  cv::Mat picture(100, 100, CV_32F, cv::Scalar(220.0));
  cv::rectangle(picture, {40, 40, 6, 6}, 20.0, -1);
  const std::array<PixelPoint, 4> square{{{39.5, 39.5}, {45.5, 39.5}, {45.5, 45.5}, {39.5, 45.5}}};
  CHECK_FALSE(refine_marker(picture, square).has_value());
}

TEST_CASE("a picture of whole numbers is the caller's bug") {
  const std::array<PixelPoint, 4> square{{{5.0, 5.0}, {25.0, 5.0}, {25.0, 25.0}, {5.0, 25.0}}};
  CHECK_THROWS_AS((void)refine_marker(cv::Mat::zeros(50, 50, CV_8U), square),
                  std::invalid_argument);
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
