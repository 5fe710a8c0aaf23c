// The map through a lens: fit_plane_map with a frame, and wall_map's functions on what it gives.

#include <array>
#include <cmath>
#include <vector>

#include <doctest/doctest.h>
#include <Eigen/LU>
#include <opencv2/calib3d.hpp>

#include "calibration/map/wall_map.h"
#include "tests/calibration/map/map_differences.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/calibration/usual_frame.h"
#include "tests/support/near.h"

namespace nightswing::calibration {
namespace {

using test::kFrame;
using test::seen_at;
using test::within_abs;
using test::within_rel;

const double kHalfDiagonal_px = std::hypot(1280.0, 720.0) / 2.0;

cv::Matx33d pinhole_view() {
  return test::pixel_from_wall_matrix({.yaw_rad = 0.35, .pitch_rad = -0.3, .roll_rad = 0.05},
                                      {1280, 720});
}

/// Corners of squares of 16 mm about the centres of the printed scale's markers, from its layout.
std::vector<WallPoint> square_corners() {
  std::vector<WallPoint> corners;
  for (int marker = 0; marker < 12; ++marker) {
    const int pair = marker / 2;
    const double x_mm = 20.0 + 40.0 * pair;
    const double y_mm = marker % 2 == 0 ? -30.0 : 80.0;
    corners.insert(corners.end(),
                   {{x_mm - 8.0, y_mm + 8.0},
                    {x_mm + 8.0, y_mm + 8.0},
                    {x_mm + 8.0, y_mm - 8.0},
                    {x_mm - 8.0, y_mm - 8.0}});
  }
  return corners;
}

/// Exact points seen through the renderer's lens, which is not of the library's form.
std::vector<ReferencePoint> seen_points(const test::RenderOptions& options, double u_px) {
  std::vector<ReferencePoint> points;
  for (const WallPoint wall : square_corners()) {
    points.push_back({.pixel = seen_at(pinhole_view(), options, wall),
                      .wall = wall,
                      .u_px = u_px,
                      .marker = static_cast<int>(points.size()) / 4});
  }
  return points;
}

WallMap barrel_map() {
  return fit_plane_map(seen_points({.lens = {-0.1, {8.0, -5.0}}}, 0.02), kFrame).map;
}

/// A lens of the library's form, drawn from what fit_plane_map takes for usual. Draws that would
/// fold the picture before its corner are no lenses and are drawn again.
struct DrawnLens {
  std::array<double, 3> terms{};
  PixelPoint centre;

  explicit DrawnLens(cv::RNG& random) {
    do {
      terms = {random.gaussian(0.06), random.gaussian(0.03), random.gaussian(0.02)};
    } while (folds());
    centre = {639.5 + random.gaussian(0.03 * kHalfDiagonal_px),
              359.5 + random.gaussian(0.03 * kHalfDiagonal_px)};
  }

  /// Whether d(r (1 + k1 r^2 + ...)) / dr falls below a fifth before 1.1 half diagonals.
  [[nodiscard]] bool folds() const {
    for (double r = 0.0; r < 1.1; r += 0.01) {
      const double r2 = r * r;
      if (1.0 + r2 * (3.0 * terms[0] + r2 * (5.0 * terms[1] + r2 * 7.0 * terms[2])) < 0.2) {
        return true;
      }
    }
    return false;
  }

  /// The stored pixel of a straight one, by bisection of r (1 + k1 r^2 + k2 r^4 + k3 r^6).
  [[nodiscard]] PixelPoint stored(PixelPoint straight) const {
    const double dx = (straight.x_px - centre.x_px) / kHalfDiagonal_px;
    const double dy = (straight.y_px - centre.y_px) / kHalfDiagonal_px;
    const double wanted = std::hypot(dx, dy);
    double low = 0.0;
    double high = 1.5;
    for (int i = 0; i < 60; ++i) {
      const double r = (low + high) / 2.0;
      const double r2 = r * r;
      const double reached = r * (1.0 + r2 * (terms[0] + r2 * (terms[1] + r2 * terms[2])));
      (reached > wanted ? high : low) = r;
    }
    const double factor = kHalfDiagonal_px * low / wanted;
    return {centre.x_px + factor * dx, centre.y_px + factor * dy};
  }
};

/// Width of the pull of the displacement over drawn lenses and noise.
double pull_width(const std::vector<WallPoint>& walls, double u_px, int fits) {
  const cv::Matx33d view = pinhole_view();
  cv::RNG random(20250301);
  double sum = 0.0;
  for (int i = 0; i < fits; ++i) {
    const DrawnLens lens(random);
    std::vector<ReferencePoint> points;
    for (const WallPoint wall : walls) {
      PixelPoint pixel = lens.stored(test::project(view, wall));
      pixel.x_px += random.gaussian(u_px);
      pixel.y_px += random.gaussian(u_px);
      points.push_back({.pixel = pixel, .wall = wall, .u_px = u_px});
    }
    const MapFit fit = fit_plane_map(points, kFrame);
    REQUIRE(fit.status == MapStatus::kFitted);
    const PixelPoint from = lens.stored(test::project(view, {48.0, 35.0}));
    const PixelPoint to = lens.stored(test::project(view, {192.0, 35.0}));
    const WallPoint a = wall_from_pixel(fit.map, from);
    const WallPoint b = wall_from_pixel(fit.map, to);
    const double error_mm = std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm) - 144.0;
    sum += std::pow(error_mm / displacement_uncertainty_mm(fit.map, from, to), 2);
  }
  return std::sqrt(sum / fits);
}

}  // namespace

TEST_SUITE_BEGIN("lens map");

TEST_CASE("a barrel lens is taken out of the map") {
  const test::RenderOptions options{.lens = {-0.1, {8.0, -5.0}}};
  const WallMap map = barrel_map();
  REQUIRE(map.distortion.size() == 3);
  // 0.1 of a half diagonal at the corner; without the lens the map is off by millimetres.
  for (const WallPoint wall :
       {WallPoint{24.0, 35.0}, WallPoint{120.0, 0.0}, WallPoint{216.0, 70.0}}) {
    const WallPoint mapped = wall_from_pixel(map, seen_at(pinhole_view(), options, wall));
    // Three terms follow the inverse of the renderer's lens within 0.01 px = 0.004 mm.
    CHECK(mapped.x_mm == within_abs(wall.x_mm, 0.01));
    CHECK(mapped.y_mm == within_abs(wall.y_mm, 0.01));
  }
  // Inverse of d (1 - 0.1 r^2) by series: d (1 + 0.1 r^2 + 3 0.1^2 r^4 + ...), the middle of the
  // lens is told by the points within some px.
  CHECK(map.distortion[0] == within_abs(0.1, 0.01));
  CHECK(map.distortion_centre.x_px == within_abs(647.5, 5.0));
  CHECK(map.distortion_centre.y_px == within_abs(354.5, 5.0));
}

TEST_CASE("without a frame the lens is not considered") {
  const WallMap map = fit_plane_map(seen_points({}, 0.02)).map;
  CHECK(map.distortion.empty());
  CHECK(map.covariance.size() == 64);
  CHECK(undistorted(map, {12.5, 700.25}) == PixelPoint{12.5, 700.25});
}

TEST_CASE("the map through a lens agrees with an independent calibration") {
  // cv::calibrateCamera: one view, square pixels, middle of the picture fixed, radial terms; exact
  // points, so that both must find the same wall behind every pixel. Its polynomial leads the other
  // way, and its points are of single precision.
  const test::RenderOptions options{.lens = {-0.08, {0.0, 0.0}}};
  const std::vector<ReferencePoint> points = seen_points(options, 0.02);
  std::vector<cv::Point3f> walls;
  std::vector<cv::Point2f> pixels;
  for (const ReferencePoint& p : points) {
    walls.emplace_back(static_cast<float>(p.wall.x_mm), static_cast<float>(p.wall.y_mm), 0.0F);
    pixels.emplace_back(static_cast<float>(p.pixel.x_px), static_cast<float>(p.pixel.y_px));
  }
  cv::Mat camera = (cv::Mat_<double>(3, 3) << 1000, 0, 639.5, 0, 1000, 359.5, 0, 0, 1);
  cv::Mat terms;
  std::vector<cv::Mat> rotations;
  std::vector<cv::Mat> shifts;
  const double rms_px = cv::calibrateCamera(
      std::vector<std::vector<cv::Point3f>>{walls},
      std::vector<std::vector<cv::Point2f>>{pixels},
      {1280, 720},
      camera,
      terms,
      rotations,
      shifts,
      cv::CALIB_USE_INTRINSIC_GUESS | cv::CALIB_FIX_PRINCIPAL_POINT | cv::CALIB_FIX_ASPECT_RATIO |
          cv::CALIB_ZERO_TANGENT_DIST | cv::CALIB_FIX_K2 | cv::CALIB_FIX_K3);
  REQUIRE(rms_px < 0.01);
  const WallMap map = fit_plane_map(points, kFrame).map;
  cv::Mat rotation;
  cv::Rodrigues(rotations.front(), rotation);
  const cv::Matx33d turn(rotation);
  const cv::Vec3d shift(shifts.front());
  // The wall's plane z = 0 in the camera's frame: columns 0 and 1 of the rotation and the shift.
  const cv::Matx33d ray_from_wall(turn(0, 0),
                                  turn(0, 1),
                                  shift[0],
                                  turn(1, 0),
                                  turn(1, 1),
                                  shift[1],
                                  turn(2, 0),
                                  turn(2, 1),
                                  shift[2]);
  for (const PixelPoint pixel :
       {PixelPoint{420.0, 300.0}, PixelPoint{640.0, 330.0}, PixelPoint{850.0, 380.0}}) {
    std::vector<cv::Point2d> ray;
    cv::undistortPoints(std::vector<cv::Point2d>{{pixel.x_px, pixel.y_px}}, ray, camera, terms);
    const cv::Vec3d place = ray_from_wall.inv() * cv::Vec3d(ray[0].x, ray[0].y, 1.0);
    const WallPoint mapped = wall_from_pixel(map, pixel);
    CHECK(mapped.x_mm == within_abs(place[0] / place[2], 0.01));  // 0.03 px, as above
    CHECK(mapped.y_mm == within_abs(place[1] / place[2], 0.01));
  }
}

TEST_CASE("through a lens, from the wall to the picture and back is where one was") {
  const WallMap map = barrel_map();
  for (const WallPoint wall :
       {WallPoint{-20.0, 25.0}, WallPoint{33.3, -40.0}, WallPoint{120.0, 25.0}, {260.0, 90.0}}) {
    const WallPoint back = wall_from_pixel(map, pixel_from_wall(map, wall));
    CHECK(back.x_mm == within_abs(wall.x_mm, 1e-9));  // rounding only
    CHECK(back.y_mm == within_abs(wall.y_mm, 1e-9));
  }
  const WallPoint middle = wall_from_pixel(map, map.distortion_centre);  // r = 0
  CHECK(pixel_from_wall(map, middle).x_px == within_abs(map.distortion_centre.x_px, 1e-9));
}

TEST_CASE("through a lens the derivative is that of differences") {
  const WallMap map = barrel_map();
  const PixelPoint pixel{300.0, 250.0};
  const Eigen::Matrix2d j = jacobian(map, pixel);
  const Eigen::Matrix2d differences = test::differences_of(map, pixel);
  CHECK((j.col(0) - differences.col(0)).norm() < 1e-8);
  CHECK((j.col(1) - differences.col(1)).norm() < 1e-8);
  CHECK(mm_per_px(map, pixel) == within_rel(std::sqrt(std::abs(j.determinant())), 1e-12));
}

TEST_CASE("the uncertainty follows every number of the map") {
  // The gradient of a distance against differences of each parameter in turn.
  const WallMap map = barrel_map();
  const PixelPoint from{350.0, 280.0};
  const PixelPoint to{900.0, 420.0};
  const auto distance = [&](const WallMap& changed) {
    const WallPoint a = wall_from_pixel(changed, from);
    const WallPoint b = wall_from_pixel(changed, to);
    return std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm);
  };
  const Eigen::VectorXd gradient = distance_gradient(map, from, to);
  REQUIRE(gradient.size() == 13);
  for (Eigen::Index i = 0; i < gradient.size(); ++i) {
    const auto at = static_cast<std::size_t>(i);
    const auto moved = [&](double step) {
      WallMap changed = map;
      if (at < 8) {
        changed.parameters[at] += step;
      } else if (at < 11) {
        changed.distortion[at - 8] += step;
      } else {
        (at == 11 ? changed.distortion_centre.x_px : changed.distortion_centre.y_px) += step;
      }
      return distance(changed);
    };
    const double step = 1e-5;
    INFO("parameter ", i);
    // Central differences of steps of 1e-5: rounding 1e-16 * 150 mm / 1e-5 = 1.5e-9.
    CHECK(gradient[i] == within_abs((moved(step) - moved(-step)) / (2.0 * step), 1e-6));
  }
}

// Lenses and noise redrawn as in JCGM 101:2008: if u is right, error over u has the width 1. Over
// 200 fits the width scatters by 1 / sqrt(400) = 5 %; three times that.
TEST_CASE("the stated uncertainty holds over usual lenses") {
  SUBCASE("where the points tell the lens") {
    CHECK(pull_width(square_corners(), 0.02, 200) == within_abs(1.0, 0.15));
  }
  SUBCASE("where eight points set by hand cannot tell it") {
    const std::vector<WallPoint> walls{{0.0, -30.0},
                                       {80.0, -30.0},
                                       {160.0, -30.0},
                                       {240.0, -30.0},
                                       {0.0, 80.0},
                                       {80.0, 80.0},
                                       {160.0, 80.0},
                                       {240.0, 80.0}};
    CHECK(pull_width(walls, 0.5, 200) == within_abs(1.0, 0.15));
  }
}

TEST_CASE("points bent more than by any lens are refused") {
  std::vector<ReferencePoint> points = seen_points({}, 0.02);
  for (ReferencePoint& p : points) {  // a pincushion of half the distance at the border
    const double dx = p.pixel.x_px - 639.5;
    const double dy = p.pixel.y_px - 359.5;
    const double r2 = (dx * dx + dy * dy) / (kHalfDiagonal_px * kHalfDiagonal_px);
    p.pixel.x_px += 1.2 * r2 * dx;
    p.pixel.y_px += 1.2 * r2 * dy;
  }
  const MapFit fit = fit_plane_map(points, kFrame);
  CHECK(fit.status == MapStatus::kNotAView);
  CHECK(fit.message.find("more than any lens") != std::string::npos);
}

TEST_CASE("the lens holds all over the picture and ends far outside it") {
  const WallMap map = barrel_map();
  for (const PixelPoint corner :
       {PixelPoint{0.0, 0.0}, PixelPoint{1279.0, 0.0}, PixelPoint{0.0, 719.0}}) {
    CHECK_FALSE(beyond_horizon(map, corner));
  }
  CHECK(beyond_horizon(map, {640.0 + 3.1 * kHalfDiagonal_px, 360.0}));
}

TEST_CASE("a sheet taped apart is found and allowed for") {
  const double u_px = 0.02;
  const cv::Matx33d view = test::pixel_from_wall_matrix(
      {.yaw_rad = 0.2, .distance_mm = 560.0, .aim = {240.0, 25.0}}, {1280, 720});
  cv::RNG random(4);
  std::vector<ReferencePoint> points;
  for (const int page : {1, 2}) {
    for (const WallPoint corner : square_corners()) {
      const WallPoint printed{corner.x_mm + 240.0 * (page - 1), corner.y_mm};
      WallPoint hung = printed;
      if (page == 2) {  // 1.4 mm to the right, 0.6 mm down
        hung.x_mm += 1.4;
        hung.y_mm -= 0.6;
      }
      PixelPoint pixel = test::project(view, hung);
      pixel.x_px += random.gaussian(u_px);
      pixel.y_px += random.gaussian(u_px);
      points.push_back({.pixel = pixel,
                        .wall = printed,
                        .u_px = u_px,
                        .marker = static_cast<int>(points.size()) / 4,
                        .page = page});
    }
  }
  const MapFit fit = fit_plane_map(points, kFrame);
  REQUIRE(fit.status == MapStatus::kFitted);
  REQUIRE(fit.map.pages.size() == 1);
  const PageShift& page = fit.map.pages.front();
  CHECK(page.page == 2);
  CHECK(page.shift_x_mm == within_abs(1.4, 4.0 * page.u_x_mm));
  CHECK(page.shift_y_mm == within_abs(-0.6, 4.0 * page.u_y_mm));
  CHECK(page.turn_rad == within_abs(0.0, 4.0 * page.u_turn_rad));
  CHECK(page.larger_relative == within_abs(0.0, 4.0 * page.u_larger_relative));
  CHECK(page.u_x_mm < 0.05);  // 0.02 px of 0.5 mm over 48 corners, and the lens
  CHECK(fit.message ==
        "page 2 seems to lie 1.4 mm further right and 0.6 mm lower than printed, which the map "
        "allows for");
  // Distances on the wall are true across the joint.
  const PixelPoint from = test::project(view, {100.0, 35.0});
  const PixelPoint to = test::project(view, {380.0, 35.0});
  const WallPoint a = wall_from_pixel(fit.map, from);
  const WallPoint b = wall_from_pixel(fit.map, to);
  CHECK(std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm) ==
        within_abs(280.0, 4.0 * displacement_uncertainty_mm(fit.map, from, to)));
}

TEST_SUITE_END();

}  // namespace nightswing::calibration
