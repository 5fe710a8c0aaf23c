#include "tests/calibration/ruler/ruler_trial.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "tests/calibration/scale/rendered_scale.h"

namespace nightswing::test {
namespace {

constexpr double kPathAbove_mm = 20.0;
constexpr double kLeastDivision_px = 2.5;

RulerLook random_look(cv::RNG& random) {
  RulerLook look;
  if (random.uniform(0.0, 1.0) < 0.25) {
    look = inch_ruler(random.uniform(2.5, 4.0), random.uniform(1.2, 2.0));
  } else {
    const double shortest_mm = random.uniform(3.0, 4.5);
    const double fifth_mm = shortest_mm + random.uniform(1.2, 2.0);
    look = millimetre_ruler(shortest_mm, fifth_mm, fifth_mm + random.uniform(1.2, 2.5));
  }
  look.line_mm = random.uniform(0.15, 0.3);
  look.ink_dn = random.uniform(30.0, 70.0);
  look.ground_dn = random.uniform(150.0, 210.0);
  look.length_mm = std::exp(random.uniform(std::log(150.0), std::log(1000.0)));
  return look;
}

bool in_picture(const RulerView& view, double x_mm) {
  // Far outside the picture the lens's polynomial would fold places back into it.
  const auto ideal = project(view.camera.pixel_from_wall, {x_mm, -2.0});
  if (std::hypot(ideal.x_px, ideal.y_px) > 2.0 * view.camera.focal_px) return false;
  const auto p = project(view.camera, {x_mm, -2.0});
  return p.x_px > 4.0 && p.y_px > 4.0 && p.x_px < view.camera.size.width - 5.0 &&
         p.y_px < view.camera.size.height - 5.0;
}

void measure_view(RulerView& view) {
  std::vector<double> lengths_px;
  const double division_mm = view.look.division_mm;
  bool any = false;
  for (double x_mm = 0.0; x_mm <= view.look.length_mm; x_mm += division_mm) {
    if (!in_picture(view, x_mm)) continue;
    const auto a = project(view.camera, {x_mm - division_mm / 2.0, -2.0});
    const auto b = project(view.camera, {x_mm + division_mm / 2.0, -2.0});
    const double length_px = std::hypot(b.x_px - a.x_px, b.y_px - a.y_px);
    if (length_px < kLeastDivision_px) continue;
    lengths_px.push_back(length_px);
    if (!any) view.from_mm = x_mm;
    view.to_mm = x_mm;
    any = true;
  }
  std::ranges::sort(lengths_px);
  view.division_px = lengths_px.empty() ? 0.0 : lengths_px[lengths_px.size() / 2];
}

}  // namespace

RulerView random_ruler_view(std::uint64_t seed) {
  cv::RNG random(0x9E3779B97F4A7C15ULL * (seed + 1));
  RulerView view;
  view.look = random_look(random);
  // Whole divisions, so that the last tick is where the wood ends.
  view.look.length_mm =
      std::floor(view.look.length_mm / view.look.division_mm) * view.look.division_mm;
  const double oblique_rad = random.uniform(0.0, std::numbers::pi / 4.0);
  const double towards_rad = random.uniform(0.0, 2.0 * std::numbers::pi);
  const double wanted_px = random.uniform(2.5, 9.0);
  const CameraPose pose{
      .yaw_rad = oblique_rad * std::cos(towards_rad),
      .pitch_rad = oblique_rad * std::sin(towards_rad),
      .roll_rad = random.uniform(-0.26, 0.26),
      .distance_mm = view.camera.focal_px * view.look.division_mm / wanted_px,
      .focal_px = view.camera.focal_px,
      .aim = {view.look.length_mm * random.uniform(0.4, 0.6), random.uniform(0.0, 15.0)}};
  view.camera.pixel_from_wall = pixel_from_wall_matrix(pose, view.camera.size);
  view.camera.k1 = random.uniform(-0.05, 0.05);
  view.light = {.blur_px = random.uniform(0.5, 2.0),
                .noise_dn = random.uniform(1.0, 6.0),
                .exposure = random.uniform(0.4, 1.2),
                .wall_dn = random.uniform(60.0, 150.0),
                .shading = random.uniform(0.0, 0.4),
                .seed = seed + 1};
  measure_view(view);
  return view;
}

cv::Mat render(const RulerView& view) {
  return render_wall({ruler_sheet(view.look, {0.0, 0.0})}, view.camera, view.light);
}

RulerTrial judge(const RulerView& view, const calibration::RulerReading& reading) {
  RulerTrial trial{.reading = reading};
  if (reading.status != calibration::RulerStatus::kRead) return trial;
  const double one_mm = unproject(view.camera, reading.ticks.front().pixel).x_mm;
  const double other_mm = unproject(view.camera, reading.ticks.back().pixel).x_mm;
  trial.partial = std::abs(other_mm - one_mm) < 0.6 * (view.to_mm - view.from_mm);
  const double start_mm = trial.partial ? std::min(one_mm, other_mm) : view.from_mm;
  const double length_mm = trial.partial ? std::abs(other_mm - one_mm) : view.to_mm - view.from_mm;
  const auto from = project(view.camera, {start_mm + 0.2 * length_mm, kPathAbove_mm});
  const auto to = project(view.camera, {start_mm + 0.8 * length_mm, kPathAbove_mm});
  const double truth_mm = 0.6 * length_mm;
  if (beyond_horizon(reading.map, from) || beyond_horizon(reading.map, to)) {
    trial.wrong_period = true;
    return trial;
  }
  const double found_mm =
      std::abs(wall_from_pixel(reading.map, to).x_mm - wall_from_pixel(reading.map, from).x_mm);
  trial.scale_error = found_mm / truth_mm - 1.0;
  trial.pull = (found_mm - truth_mm) / displacement_uncertainty_mm(reading.map, from, to);
  trial.wrong_period = std::abs(trial.scale_error) > 0.02 ||
                       std::abs(division_mm(reading.division) - view.look.division_mm) > 1e-9;
  return trial;
}

}  // namespace nightswing::test
