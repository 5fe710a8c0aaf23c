#include "analysis/balance/mass_distribution.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <utility>

#include "analysis/balance/gauss_legendre.h"

namespace nightswing::analysis {
namespace {

// Beyond this the bodies are within a few per cent of touching and more points do not help.
constexpr int kMostPoints = 60;

int limited(double points) {
  return static_cast<int>(std::clamp(std::ceil(points), 2.0, static_cast<double>(kMostPoints)));
}

// Points along an edge of half length h whose middle is the nearest: the singularity of 1/distance
// lies at clearance/h on the imaginary axis of the rule's variable.
int points_along(double half_m, const ElementOptions& options) {
  const double height = options.clearance_m / half_m;
  const double ellipse = height + std::sqrt(1 + height * height);
  return limited(-std::log(options.tolerance) / (2 * std::log(ellipse)) + 1);
}

// Points in t = r^2. Averaged over the angle, the nearest singularity lies at t = -clearance^2 for
// a mass in front of a face; one beside the round surface is further from the rule's interval.
int points_in_radius(double radius_m, const ElementOptions& options) {
  const double ratio = options.clearance_m / radius_m;
  const double at = 1 + 2 * ratio * ratio;
  const double ellipse = at + std::sqrt(at * at - 1);
  return limited(-std::log(options.tolerance) / (2 * std::log(ellipse)) + 1);
}

int points_in_angle(double radius_m, const ElementOptions& options) {
  const double ratio = 1 + options.clearance_m / radius_m;
  return limited(-std::log(options.tolerance) / std::log(ratio) + 1);
}

std::vector<MassElement> elements_of(const Sphere&, double mass_kg, const ElementOptions&) {
  return {{mass_kg, 0, 0, 0}};
}

std::vector<MassElement> elements_of(const Cylinder& cylinder,
                                     double mass_kg,
                                     const ElementOptions& options) {
  const double radius_m = cylinder.diameter_m.value / 2;
  const double half_m = cylinder.length_m.value / 2;
  const auto along = gauss_legendre(points_along(half_m, options));
  const auto outwards = gauss_legendre(points_in_radius(radius_m, options));
  const int angles = points_in_angle(radius_m, options);
  std::vector<MassElement> elements;
  elements.reserve(along.size() * outwards.size() * static_cast<std::size_t>(angles));
  for (const auto& [s, s_weight] : along) {
    for (const auto& [t, t_weight] : outwards) {
      const double r_m = radius_m * std::sqrt((1 + t) / 2);
      const double element_kg = mass_kg * s_weight * t_weight / (4 * angles);
      for (int k = 0; k < angles; ++k) {
        const double angle_rad = 2 * std::numbers::pi * k / angles;
        const double u_m = r_m * std::cos(angle_rad);
        const double v_m = r_m * std::sin(angle_rad);
        switch (cylinder.axis) {
          case CylinderAxis::kVertical:
            elements.push_back({element_kg, u_m, v_m, half_m * s});
            break;
          case CylinderAxis::kAlongBoom:
            elements.push_back({element_kg, half_m * s, u_m, v_m});
            break;
          case CylinderAxis::kAcross:
            elements.push_back({element_kg, u_m, half_m * s, v_m});
            break;
        }
      }
    }
  }
  return elements;
}

std::vector<MassElement> elements_of(const Box& box,
                                     double mass_kg,
                                     const ElementOptions& options) {
  const double x_m = box.along_m.value / 2;
  const double y_m = box.across_m.value / 2;
  const double z_m = box.vertical_m.value / 2;
  const auto along = gauss_legendre(points_along(x_m, options));
  const auto across = gauss_legendre(points_along(y_m, options));
  const auto upwards = gauss_legendre(points_along(z_m, options));
  std::vector<MassElement> elements;
  elements.reserve(along.size() * across.size() * upwards.size());
  for (const auto& [x, x_weight] : along) {
    for (const auto& [y, y_weight] : across) {
      for (const auto& [z, z_weight] : upwards) {
        elements.push_back(
            {mass_kg * x_weight * y_weight * z_weight / 8, x_m * x, y_m * y, z_m * z});
      }
    }
  }
  return elements;
}

void check(const ElementOptions& options) {
  if (!(options.clearance_m > 0) || !(options.tolerance > 0)) {
    throw std::invalid_argument("mass_elements: clearance and tolerance must be above zero");
  }
}

double inertia_per_mass_m2(const Sphere& sphere) {
  const double r_m = sphere.diameter_m.value / 2;
  return 2.0 / 5 * r_m * r_m;
}

double inertia_per_mass_m2(const Cylinder& cylinder) {
  const double r_m = cylinder.diameter_m.value / 2;
  const double length_m = cylinder.length_m.value;
  if (cylinder.axis == CylinderAxis::kVertical) return r_m * r_m / 2;
  return (3 * r_m * r_m + length_m * length_m) / 12;
}

double inertia_per_mass_m2(const Box& box) {
  const double x_m = box.along_m.value;
  const double y_m = box.across_m.value;
  return (x_m * x_m + y_m * y_m) / 12;
}

}  // namespace

std::vector<MassElement> mass_elements(const Body& body, const ElementOptions& options) {
  check(options);
  return std::visit(
      [&](const auto& solid) { return elements_of(solid, body.mass_kg.value, options); },
      body.shape);
}

std::vector<MassElement> mass_elements(const Rod& rod, const ElementOptions& options) {
  return mass_elements(as_body(rod), options);
}

double own_inertia_kg_m2(const Body& body) {
  const double per_mass_m2 =
      std::visit([](const auto& solid) { return inertia_per_mass_m2(solid); }, body.shape);
  return body.mass_kg.value * per_mass_m2;
}

BoomInertia boom_inertia(const Apparatus& apparatus) {
  const double arm_m = apparatus.arm_m.value;
  return {.points_kg_m2 = 2 * apparatus.test.mass_kg.value * arm_m * arm_m,
          .size_kg_m2 = 2 * own_inertia_kg_m2(apparatus.test),
          .rod_kg_m2 = apparatus.rod ? own_inertia_kg_m2(as_body(*apparatus.rod)) : 0.0,
          .mirror_kg_m2 = apparatus.mirror_inertia_kg_m2.value};
}

}  // namespace nightswing::analysis
