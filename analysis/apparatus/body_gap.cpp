#include "analysis/apparatus/body_gap.h"

#include <algorithm>
#include <cmath>

namespace nightswing::analysis {
namespace {

double beyond(double distance_m, double reach_m) {
  return std::max(0.0, std::abs(distance_m) - reach_m);
}

/// Distances along the axis of a cylinder and at right angles to it.
struct AxialDistances {
  double along_axis_m;
  double from_axis_m;
};

AxialDistances about_axis(CylinderAxis axis, const Place& p) {
  switch (axis) {
    case CylinderAxis::kVertical:
      return {p.z_m, std::hypot(p.x_m, p.y_m)};
    case CylinderAxis::kAlongBoom:
      return {p.x_m, std::hypot(p.y_m, p.z_m)};
    case CylinderAxis::kAcross:
      break;
  }
  return {p.y_m, std::hypot(p.x_m, p.z_m)};
}

double radius_of(const Cylinder& cylinder) {
  return cylinder.diameter_m.value / 2;
}

/// From a point outside a body to its surface.
double gap_to_point(const Sphere& sphere, const Place& p) {
  return beyond(std::hypot(p.x_m, p.y_m, p.z_m), sphere.diameter_m.value / 2);
}

double gap_to_point(const Cylinder& cylinder, const Place& p) {
  const AxialDistances d = about_axis(cylinder.axis, p);
  return std::hypot(beyond(d.along_axis_m, cylinder.length_m.value / 2),
                    beyond(d.from_axis_m, radius_of(cylinder)));
}

double gap_to_point(const Box& box, const Place& p) {
  return std::hypot(beyond(p.x_m, box.along_m.value / 2),
                    beyond(p.y_m, box.across_m.value / 2),
                    beyond(p.z_m, box.vertical_m.value / 2));
}

double gap_of_boxes(const HalfExtents& one, const HalfExtents& other, const Place& apart) {
  return std::hypot(beyond(apart.x_m, one.along_m + other.along_m),
                    beyond(apart.y_m, one.across_m + other.across_m),
                    beyond(apart.z_m, one.vertical_m + other.vertical_m));
}

double gap_of_parallel(const Cylinder& one, const Cylinder& other, const Place& apart) {
  const AxialDistances d = about_axis(one.axis, apart);
  return std::hypot(beyond(d.along_axis_m, (one.length_m.value + other.length_m.value) / 2),
                    beyond(d.from_axis_m, radius_of(one) + radius_of(other)));
}

}  // namespace

double gap_m(const Shape& one, const Shape& other, const Place& apart) {
  if (!std::holds_alternative<Sphere>(one) && std::holds_alternative<Sphere>(other)) {
    return gap_m(other, one, apart);  // all bodies look the same from the opposite side
  }
  if (const auto* sphere = std::get_if<Sphere>(&one)) {
    const double to_centre_m =
        std::visit([&](const auto& solid) { return gap_to_point(solid, apart); }, other);
    return beyond(to_centre_m, sphere->diameter_m.value / 2);
  }
  const auto* cylinder = std::get_if<Cylinder>(&one);
  const auto* beside = std::get_if<Cylinder>(&other);
  if (cylinder != nullptr && beside != nullptr && cylinder->axis == beside->axis) {
    return gap_of_parallel(*cylinder, *beside, apart);
  }
  return gap_of_boxes(half_extents(one), half_extents(other), apart);
}

}  // namespace nightswing::analysis
