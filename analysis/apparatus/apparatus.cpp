#include "analysis/apparatus/apparatus.h"

#include <numbers>

namespace nightswing::analysis {
namespace {

HalfExtents extents_of(const Sphere& sphere) {
  const double radius_m = sphere.diameter_m.value / 2;
  return {radius_m, radius_m, radius_m};
}

HalfExtents extents_of(const Cylinder& cylinder) {
  const double radius_m = cylinder.diameter_m.value / 2;
  const double half_m = cylinder.length_m.value / 2;
  switch (cylinder.axis) {
    case CylinderAxis::kVertical:
      return {radius_m, radius_m, half_m};
    case CylinderAxis::kAlongBoom:
      return {half_m, radius_m, radius_m};
    case CylinderAxis::kAcross:
      break;
  }
  return {radius_m, half_m, radius_m};
}

HalfExtents extents_of(const Box& box) {
  return {box.along_m.value / 2, box.across_m.value / 2, box.vertical_m.value / 2};
}

double volume_of(const Sphere& sphere) {
  const double d_m = sphere.diameter_m.value;
  return std::numbers::pi / 6 * d_m * d_m * d_m;
}

double volume_of(const Cylinder& cylinder) {
  const double d_m = cylinder.diameter_m.value;
  return std::numbers::pi / 4 * d_m * d_m * cylinder.length_m.value;
}

double volume_of(const Box& box) {
  return box.along_m.value * box.across_m.value * box.vertical_m.value;
}

}  // namespace

HalfExtents half_extents(const Shape& shape) {
  return std::visit([](const auto& solid) { return extents_of(solid); }, shape);
}

double volume_m3(const Shape& shape) {
  return std::visit([](const auto& solid) { return volume_of(solid); }, shape);
}

double density_kg_m3(const Body& body) {
  return body.mass_kg.value / volume_m3(body.shape);
}

Body as_body(const Rod& rod) {
  return {Cylinder{rod.width_m, rod.length_m, CylinderAxis::kAlongBoom}, rod.mass_kg, ""};
}

}  // namespace nightswing::analysis
