#pragma once

#include <cmath>
#include <numbers>

#include "analysis/apparatus/apparatus.h"

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
          .separation_m = analysis::Measured{0.06, 0},
          .sides = {},
          .wire = {},
          .mirror_to_wall_m = {4.0, 0},
          .foot_mm = {},
          .leaning_mirror = {},
          .scale_factor = {1.0, 0},
          .assumptions = {},
          .warnings = {}};
}

/// G [m3 kg-1 s-2] at which what is quoted of this balance was worked.
inline constexpr double kReferenceG = 6.67430e-11;

inline analysis::SourcePlace place(double along_m, double across_m, double height_m) {
  return {.along_m = {along_m, 0}, .across_m = {across_m, 0}, .height_m = {height_m, 0}};
}

/// The reference balance with its source masses placed without any symmetry. Worked with SciPy
/// 1.10.1 from Newton's law (spheres as points, the rod by two quadratures that agree to 1e-13; the
/// rest place by brentq), wire of 540 s, G = kReferenceG, boom midway at rotation 0:
inline analysis::Apparatus unsymmetric_balance() {
  analysis::Apparatus balance = reference_balance();
  balance.separation_m.reset();
  balance.sides =
      analysis::SourceSides{.plus = {place(0.102, 0.058, 0.003), place(-0.097, -0.066, -0.002)},
                            .minus = {place(0.099, -0.071, 0.001), place(-0.103, 0.061, 0.004)}};
  return balance;
}
struct UnsymmetricTruth {
  double torque_plus = 10.478743;  // midway, kg2/m
  double torque_minus = -9.24565856;
  double torque_plus_5_mrad = 10.6562942;
  double rod_plus = 0.268944057;
  double slope_plus_5_mrad = 35.907942;
  double theta_rad = 4.79007774e-3;
  double wire_rest_rad = -0.301684053e-3;
  double kappa_n_m = 1.39584334e-7;
  double period_s = 544.288208;  // of the mean square of both frequencies
  double ratio_plus = 0.999258892;
  double ratio_minus = 1.00074056;
  double shift_mm = 76.6435886;
  double mean_separation_m = 0.0641072576;
  double textbook_m3_kg_s2 = 6.558615e-11;
};

/// Places of the symmetric arrangement, one by one.
inline analysis::SourceSides symmetric_sides(double arm_m, double separation_m) {
  return {.plus = {place(arm_m, separation_m, 0), place(-arm_m, -separation_m, 0)},
          .minus = {place(arm_m, -separation_m, 0), place(-arm_m, separation_m, 0)}};
}

}  // namespace nightswing::test
