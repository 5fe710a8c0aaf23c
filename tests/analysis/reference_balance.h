#pragma once

#include <cmath>
#include <numbers>

#include "analysis/apparatus.h"

namespace nightswing::test {

/// Radius of a sphere of pure lead, 11 340 kg/m3 (handbook value, from memory).
inline double lead_radius_m(double mass_kg) {
  return std::cbrt(3 * mass_kg / (4 * std::numbers::pi * 11340.0));
}

inline analysis::Body sphere(double mass_kg, double diameter_m) {
  return {analysis::Sphere{{diameter_m, 0}}, {mass_kg, 0}, ""};
}

/// The invented bench balance that the worked numbers of these tests belong to: lead spheres of
/// 50 g on arms of 0.1 m, lead spheres of 4 kg at 60 mm, a rod of 8 g, wall at 4 m. The worked
/// numbers were computed by two independent routes outside this project's code.
inline analysis::Apparatus reference_balance() {
  return {.title = "reference balance",
          .source = sphere(4.0, 2 * lead_radius_m(4.0)),
          .test = sphere(0.05, 2 * lead_radius_m(0.05)),
          .arm_m = {0.1, 0},
          .rod = analysis::Rod{.mass_kg = {0.008, 0}, .length_m = {0.2, 0}, .width_m = {0.004, 0}},
          .mirror_inertia_kg_m2 = {2e-7, 0},
          .separation_m = {0.06, 0},
          .wire = {},
          .mirror_to_wall_m = {4.0, 0},
          .foot_mm = {},
          .leaning_mirror = {},
          .scale_factor = {1.0, 0},
          .assumptions = {},
          .warnings = {}};
}

}  // namespace nightswing::test
