#include "analysis/torque_model.h"

#include <cmath>
#include <stdexcept>
#include <vector>

namespace nightswing::analysis {
namespace {

// Elements of two extended bodies meet pair by pair, millions of them at 1e-9.
double mass_tolerance(const Shape& test) {
  return std::holds_alternative<Sphere>(test) ? 1e-9 : 1e-5;
}

// The rod contributes a few per cent, so that less will do; with extended sources, where each of
// its elements meets thousands, it would otherwise take nearly all the time.
double rod_tolerance(const Shape& source) {
  return std::holds_alternative<Sphere>(source) ? 1e-7 : 1e-5;
}

std::vector<MassElement> moved(std::vector<MassElement> elements, double x_m, double y_m) {
  for (MassElement& element : elements) {
    element.x_m += x_m;
    element.y_m += y_m;
  }
  return elements;
}

TorquePerG twice(const TorquePerG& one) {
  return {2 * one.torque, 2 * one.slope};
}

// Spheres act as points, so that their radius does not count.
double reach_across_m(const Shape& shape) {
  return std::holds_alternative<Sphere>(shape) ? 0.0 : half_extents(shape).across_m;
}

}  // namespace

TorquePerG torque_per_g(std::span<const MassElement> boom,
                        std::span<const MassElement> source,
                        double theta_rad) {
  const double cosine = std::cos(theta_rad);
  const double sine = std::sin(theta_rad);
  TorquePerG sum;
  for (const MassElement& pulling : source) {
    // Turning the source back instead of the boom forward leaves the torque about z as it is:
    // with q = x Y - y X,  dX = Y, dY = -X  per radian, hence  d(d^2) = -2 q.
    const double source_x_m = cosine * pulling.x_m + sine * pulling.y_m;
    const double source_y_m = -sine * pulling.x_m + cosine * pulling.y_m;
    for (const MassElement& pulled : boom) {
      const double dx_m = source_x_m - pulled.x_m;
      const double dy_m = source_y_m - pulled.y_m;
      const double dz_m = pulling.z_m - pulled.z_m;
      const double d2_m2 = dx_m * dx_m + dy_m * dy_m + dz_m * dz_m;
      const double strength = pulling.mass_kg * pulled.mass_kg / (d2_m2 * std::sqrt(d2_m2));
      const double q_m2 = pulled.x_m * source_y_m - pulled.y_m * source_x_m;
      const double dot_m2 = pulled.x_m * source_x_m + pulled.y_m * source_y_m;
      sum.torque += strength * q_m2;
      sum.slope += strength * (3 * q_m2 * q_m2 / d2_m2 - dot_m2);
    }
  }
  return sum;
}

BoomTorque boom_torque(const Apparatus& apparatus, Side side, double theta_rad) {
  if (side == Side::kAway) {
    throw std::invalid_argument("boom_torque: the place of sources that are away is not known");
  }
  const double arm_m = apparatus.arm_m.value;
  const double separation_m = apparatus.separation_m.value;
  const double source_gap_m = separation_m - reach_across_m(apparatus.source.shape);
  const double gap_m = source_gap_m - reach_across_m(apparatus.test.shape);
  if (!(gap_m > 0)) throw std::invalid_argument("boom_torque: source and test masses overlap");

  // A half turn about the wire carries one source mass into the other and the boom into itself, so
  // one source mass gives half of everything.
  const double source_y_m = side == Side::kPlus ? separation_m : -separation_m;
  const auto one_source = [&](const ElementOptions& options) {
    return moved(mass_elements(apparatus.source, options), arm_m, source_y_m);
  };
  const ElementOptions options{.clearance_m = gap_m,
                               .tolerance = mass_tolerance(apparatus.test.shape)};
  const auto source = one_source(options);
  const auto test = mass_elements(apparatus.test, options);
  BoomTorque torque;
  torque.near_pairs = twice(torque_per_g(moved(test, arm_m, 0), source, theta_rad));
  torque.far_pairs = twice(torque_per_g(moved(test, -arm_m, 0), source, theta_rad));
  if (!apparatus.rod) return torque;

  const double rod_gap_m = source_gap_m - apparatus.rod->width_m.value / 2;
  if (!(rod_gap_m > 0)) throw std::invalid_argument("boom_torque: source masses overlap the rod");
  const ElementOptions rod_options{.clearance_m = rod_gap_m,
                                   .tolerance = rod_tolerance(apparatus.source.shape)};
  const auto rod = mass_elements(*apparatus.rod, rod_options);
  torque.rod = twice(torque_per_g(rod, one_source(rod_options), theta_rad));
  return torque;
}

}  // namespace nightswing::analysis
