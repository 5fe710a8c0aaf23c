#include "calibration/map/plane_model.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <doctest/doctest.h>
#include <Eigen/LU>
#include <opencv2/core.hpp>

#include "calibration/scale/printed_scale.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using Eigen::Vector2d;
using test::within_abs;
using test::within_rel;

/// A picture of 1281 x 721 around (640, 360), a wall of 240 mm around (120, 25).
PlaneFrame usual_frame(double lens_radius = 0.0) {
  return {.pixel_centre = {640.0, 360.0},
          .pixel_half_span = 500.0,
          .wall_centre = {120.0, 25.0},
          .wall_half_span = 120.0,
          .lens_middle = {640.0, 360.0},
          .lens_radius = lens_radius};
}

/// From straightened pixel to wall, both in the coordinates of the problem, seen a little askew.
constexpr std::array<double, 8> kTrue{1.02, 0.03, -0.02, 0.01, -0.98, 0.04, 0.05, -0.03};

/// The pixel that shows a place on the wall, by the inverse of the matrix.
PixelPoint pixel_of(const std::array<double, 8>& h, const WallPoint& wall) {
  const PlaneFrame frame = usual_frame();
  Eigen::Matrix3d matrix;
  matrix << h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0;
  const Eigen::Vector3d p =
      matrix.inverse() * Eigen::Vector3d((wall.x_mm - frame.wall_centre.x()) / frame.wall_half_span,
                                         (wall.y_mm - frame.wall_centre.y()) / frame.wall_half_span,
                                         1.0);
  return {frame.pixel_centre.x() + frame.pixel_half_span * p.x() / p.z(),
          frame.pixel_centre.y() + frame.pixel_half_span * p.y() / p.z()};
}

/// The corners of the markers of one page or more, as the printed scale has them.
std::vector<PointGroup> exact_groups(int markers, double u_px) {
  std::vector<PointGroup> groups;
  for (int id = 0; id < markers; ++id) {
    PointGroup group;
    for (const WallPoint& wall : marker_corners(id)) {
      group.points.push_back(
          {.pixel = pixel_of(kTrue, wall), .wall = wall, .u_px = u_px, .marker = id});
    }
    groups.push_back(group);
  }
  return groups;
}

PlaneUnknowns rough_start() {
  PlaneUnknowns start;
  start.homography = {1.0, 0.0, 0.0, 0.0, -1.0, 0.0, 0.0, 0.0};
  start.pages.resize(1);
  return start;
}

void add_noise(std::vector<PointGroup>& groups, double sigma_px, cv::RNG& random) {
  for (PointGroup& group : groups) {
    for (ReferencePoint& p : group.points) {
      p.pixel.x_px += random.gaussian(sigma_px);
      p.pixel.y_px += random.gaussian(sigma_px);
    }
  }
}

/// One marker of 100 px whose sides run along these directions in the picture.
std::vector<ReferencePoint> marker_with_sides(const Vector2d& along_x, const Vector2d& along_y) {
  std::vector<ReferencePoint> marker;
  for (const WallPoint& wall :
       {WallPoint{0.0, 24.0}, WallPoint{24.0, 24.0}, WallPoint{24.0, 0.0}, WallPoint{0.0, 0.0}}) {
    const Vector2d p =
        Vector2d(300.0, 200.0) + wall.x_mm / 24.0 * along_x + wall.y_mm / 24.0 * along_y;
    marker.push_back({.pixel = {p.x(), p.y()}, .wall = wall, .marker = 3});
  }
  return marker;
}

}  // namespace

TEST_SUITE_BEGIN("plane_model");

TEST_CASE("edges along rows and columns of the picture have no slant") {
  const Eigen::Vector4d slant = slant_of(marker_with_sides({100.0, 0.0}, {0.0, -100.0}));
  CHECK(slant.norm() == within_abs(0.0, 1e-9));
}

TEST_CASE("the slant is an odd function of the slope, that of upright edges along x") {
  const Eigen::Vector4d right = slant_of(marker_with_sides({100.0, 0.0}, {10.0, -100.0}));
  const Eigen::Vector4d left = slant_of(marker_with_sides({100.0, 0.0}, {-10.0, -100.0}));
  // Slope 0.1: a step of width 0.02, and a ramp that is 1 at 0.25.
  CHECK(std::abs(right[0]) == within_rel(0.1 / std::hypot(0.1, 0.02), 1e-9));
  CHECK(std::abs(right[1]) == within_rel(0.4, 1e-9));
  CHECK((right + left).norm() == within_abs(0.0, 1e-9));
  CHECK(right.tail<2>().norm() == within_abs(0.0, 1e-9));
  const Eigen::Vector4d level = slant_of(marker_with_sides({100.0, 10.0}, {0.0, -100.0}));
  CHECK(level.head<2>().norm() == within_abs(0.0, 1e-9));
  CHECK(std::abs(level[3]) == within_rel(0.4, 1e-9));
}

TEST_CASE("a marker turned by a quarter of a turn has level edges where it had upright ones") {
  const Eigen::Vector4d slant = slant_of(marker_with_sides({0.0, 100.0}, {100.0, 0.0}));
  CHECK(slant.norm() == within_abs(0.0, 1e-9));
}

TEST_CASE("points that are no marker have no slant") {
  CHECK(slant_of({}).norm() == 0.0);
  CHECK(slant_of({{.pixel = {5.0, 5.0}, .wall = {0.0, 0.0}}}).norm() == 0.0);
}

// Closed form: a square whose four sides move outwards by 1 has its corners at 1 further along both
// axes; a rhombus with the angle a its sharp ones at 1 / sin(a / 2) along the long diagonal.
TEST_CASE("sides that move outwards take the corners along") {
  const auto square = outwards_of(marker_with_sides({100.0, 0.0}, {0.0, -100.0}));
  REQUIRE(square.size() == 4);
  CHECK((square[0] - Vector2d(-1.0, -1.0)).norm() == within_abs(0.0, 1e-12));
  CHECK((square[2] - Vector2d(1.0, 1.0)).norm() == within_abs(0.0, 1e-12));
  const double half_rad = 0.5;
  const auto rhombus =
      outwards_of(marker_with_sides({100.0 * std::cos(half_rad), 100.0 * std::sin(half_rad)},
                                    {100.0 * std::cos(half_rad), -100.0 * std::sin(half_rad)}));
  REQUIRE(rhombus.size() == 4);
  CHECK((rhombus[1] - Vector2d(1.0 / std::sin(half_rad), 0.0)).norm() == within_abs(0.0, 1e-12));
  CHECK((rhombus[3] + Vector2d(1.0 / std::sin(half_rad), 0.0)).norm() == within_abs(0.0, 1e-12));
  CHECK(outwards_of({{.pixel = {5.0, 5.0}, .wall = {0.0, 0.0}}}).empty());
}

TEST_CASE("markers that all grew are found to have grown, and lie where they lay") {
  auto groups = exact_groups(12, 0.05);
  for (PointGroup& group : groups) {
    group.outwards = outwards_of(group.points);
    for (std::size_t k = 0; k < 4; ++k) {
      group.points[k].pixel.x_px += 0.2 * group.outwards[k].x();
      group.points[k].pixel.y_px += 0.2 * group.outwards[k].y();
    }
  }
  const PlaneSolution solution =
      solve_plane(usual_frame(), groups, {Vector2d(0.0, 0.0)}, rough_start());
  REQUIRE(solution.converged);
  // Known beforehand as 0(0.3) px, told by 96 coordinates of 0.05 px, the growth is pulled towards
  // 0 by (0.05 / 0.3)^2 / 96 = 3e-4 of itself, and the homography by as little.
  CHECK(solution.unknowns.growth_px[0] == within_abs(0.2, 2e-4));
  for (std::size_t k = 0; k < 8; ++k) {
    CHECK(solution.unknowns.homography[k] == within_abs(kTrue[k], 1e-5));
  }
  CHECK(solution.covariance.rows() == 9);
}

TEST_CASE("exact points give back the homography that they were drawn with") {
  const auto groups = exact_groups(12, 0.05);
  const PlaneSolution solution =
      solve_plane(usual_frame(), groups, {Vector2d(0.0, 0.0)}, rough_start());
  REQUIRE(solution.converged);
  for (std::size_t k = 0; k < 8; ++k) {
    // The optimiser ends at 1e-13 of the half span.
    CHECK(solution.unknowns.homography[k] == within_abs(kTrue[k], 1e-9));
  }
  CHECK(solution.reduced_chi2 == within_abs(0.0, 1e-9));
  CHECK(solution.scatter.widening == within_abs(1.0, 1e-9));
  CHECK(solution.off_wall_mm == within_abs(0.0, 1e-9));
  CHECK(solution.covariance.rows() == 8);
}

TEST_CASE("the covariance is the inverse of the information of the points") {
  constexpr double kU_px = 0.05;
  const auto groups = exact_groups(12, kU_px);
  const PlaneSolution solution =
      solve_plane(usual_frame(), groups, {Vector2d(0.0, 0.0)}, rough_start());
  REQUIRE(solution.converged);
  // J^T J / u^2 with derivatives of the pixels as central differences: relative error step^2.
  constexpr double kStep = 1e-5;
  Eigen::Matrix<double, 8, 8> information = Eigen::Matrix<double, 8, 8>::Zero();
  for (const PointGroup& group : groups) {
    for (const ReferencePoint& p : group.points) {
      Eigen::Matrix<double, 2, 8> slope;
      for (std::size_t k = 0; k < 8; ++k) {
        auto up = kTrue;
        auto down = kTrue;
        up[k] += kStep;
        down[k] -= kStep;
        const PixelPoint a = pixel_of(up, p.wall);
        const PixelPoint b = pixel_of(down, p.wall);
        slope.col(static_cast<Eigen::Index>(k)) =
            Vector2d(a.x_px - b.x_px, a.y_px - b.y_px) / (2.0 * kStep);
      }
      information += slope.transpose() * slope / (kU_px * kU_px);
    }
  }
  const Eigen::Matrix<double, 8, 8> expected = information.inverse();
  for (Eigen::Index k = 0; k < 8; ++k) {
    CAPTURE(k);
    CHECK(solution.covariance(k, k) == within_rel(expected(k, k), 1e-4));
  }
}

TEST_CASE("noise of the stated size has a reduced chi squared of one and widens little") {
  auto groups = exact_groups(12, 0.05);
  cv::RNG random(21);
  add_noise(groups, 0.05, random);
  const PlaneSolution solution =
      solve_plane(usual_frame(), groups, {Vector2d(0.0, 0.0)}, rough_start());
  REQUIRE(solution.converged);
  // 88 degrees of freedom: a scatter of sqrt(2 / 88) = 0.15; three times that.
  CHECK(solution.reduced_chi2 == within_abs(1.0, 0.45));
  CHECK(solution.scatter.widening >= 1.0);
  CHECK(solution.scatter.widening < 1.25);
}

TEST_CASE("a second sheet that hangs askew is found with its shift and turn") {
  auto groups = exact_groups(24, 0.02);
  const Vector2d pivot_mm(240.0, 0.0);
  const Vector2d shift_mm(0.8, -0.5);
  constexpr double kTurn_rad = 0.004;
  for (PointGroup& group : groups) {
    if (group.points.front().wall.x_mm < 240.0) continue;
    group.page = 1;
    for (ReferencePoint& p : group.points) {
      // pivot + shift + R (p - pivot), R from x towards y.
      const double dx = p.wall.x_mm - pivot_mm.x();
      const double dy = p.wall.y_mm - pivot_mm.y();
      const WallPoint hung{
          pivot_mm.x() + shift_mm.x() + std::cos(kTurn_rad) * dx - std::sin(kTurn_rad) * dy,
          pivot_mm.y() + shift_mm.y() + std::sin(kTurn_rad) * dx + std::cos(kTurn_rad) * dy};
      p.pixel = pixel_of(kTrue, hung);
    }
  }
  PlaneUnknowns start = rough_start();
  start.pages.resize(2);
  const PlaneSolution solution =
      solve_plane(usual_frame(), groups, {Vector2d(0.0, 0.0), pivot_mm}, start);
  REQUIRE(solution.converged);
  REQUIRE(solution.covariance.rows() == 8 + 4);
  const auto& page = solution.unknowns.pages[1];
  // What is known beforehand, 0 within 1 mm, pulls by (u / 1 mm)^2 of the shift.
  const double u_mm = std::sqrt(std::max(solution.covariance(8, 8), solution.covariance(9, 9)));
  CHECK(u_mm < 0.05);
  CHECK(page[0] == within_abs(0.8, 2.0 * u_mm * u_mm + 1e-6));
  CHECK(page[1] == within_abs(-0.5, 2.0 * u_mm * u_mm + 1e-6));
  CHECK(page[2] == within_abs(kTurn_rad, 1e-5));
  CHECK(page[3] == within_abs(0.0, 1e-5));  // as the turn: 1 um of 100 mm
}

TEST_CASE("a lens of known terms is told from the points") {
  // Stored pixels are those whose straightened places are exact: solved by repeated substitution.
  constexpr double kK1 = 0.05;
  const double radius_px = std::hypot(640.0, 360.0);
  auto groups = exact_groups(12, 0.002);
  for (PointGroup& group : groups) {
    for (ReferencePoint& p : group.points) {
      const Vector2d straight((p.pixel.x_px - 640.0) / radius_px,
                              (p.pixel.y_px - 360.0) / radius_px);
      Vector2d d = straight;
      for (int round = 0; round < 60; ++round) d = straight / (1.0 + kK1 * d.squaredNorm());
      p.pixel = {640.0 + radius_px * d.x(), 360.0 + radius_px * d.y()};
    }
  }
  const PlaneSolution solution =
      solve_plane(usual_frame(radius_px), groups, {Vector2d(0.0, 0.0)}, rough_start());
  REQUIRE(solution.converged);
  REQUIRE(solution.covariance.rows() == 8 + 5);
  // Higher terms and the centre are let in too: within their own uncertainty.
  const double u_k1 = std::sqrt(solution.covariance(8, 8));
  CHECK(solution.unknowns.lens[0] == within_abs(kK1, std::max(1e-4, u_k1)));
  CHECK(u_k1 < kUsualLens[0] / 2.0);
}

TEST_CASE("one marker far off does not pull the rest") {
  auto groups = exact_groups(12, 0.05);
  for (ReferencePoint& p : groups[4].points) p.pixel.x_px += 10.0;
  cv::RNG random(5);
  add_noise(groups, 0.05, random);
  const PlaneSolution solution =
      solve_plane(usual_frame(), groups, {Vector2d(0.0, 0.0)}, rough_start());
  REQUIRE(solution.converged);
  // Plain least squares would give it a twelfth of 10 px = 0.8 px, near it more. 0.1 px of 500.
  const double scale = solution.unknowns.homography[0] / kTrue[0];
  CHECK(scale == within_abs(1.0, 1e-3));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
