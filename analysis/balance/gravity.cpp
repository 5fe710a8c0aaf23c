#include "analysis/balance/gravity.h"

#include <cmath>
#include <numbers>
#include <stdexcept>
#include <utility>

#include <fmt/format.h>

#include "analysis/apparatus/source_places.h"
#include "analysis/balance/mass_distribution.h"

namespace nightswing::analysis {
namespace {

double square(double x) {
  return x * x;
}

void check(const NightFindings& findings) {
  const bool finite = std::isfinite(findings.x_plus_mm) && std::isfinite(findings.x_minus_mm) &&
                      std::isfinite(findings.damping_per_s);
  if (!finite || !std::isfinite(findings.period_s) || !(findings.period_s > 0)) {
    throw std::invalid_argument("gravity: the findings of the night are not usable numbers");
  }
}

double damped_omega2_per_s2(const NightFindings& findings) {
  return square(2 * std::numbers::pi / findings.period_s);
}

double omega2_per_s2(const NightFindings& findings) {
  return damped_omega2_per_s2(findings) + square(findings.damping_per_s);
}

/// Where the boom rests with the sources away, from midway, counted like its rotation; kappa/G is
/// g(theta)/theta.
struct AwayRest {
  double rest_rad = 0;
  TorquePerG torque;  // of sources that are away, there
};

AwayRest away_rest(const Apparatus& apparatus, const SideTorques& pull, double theta_rad) {
  const double radians_per_torque = theta_rad / pull.mean().total().torque;
  // Where the wire alone holds the boom.
  const double wire_rad =
      -radians_per_torque * (pull.plus.total().torque + pull.minus.total().torque) / 2;
  AwayRest away;
  away.rest_rad = wire_rad;
  if (!has_places(apparatus, Side::kAway)) return away;
  // Newton's method: the pull of sources that are away is all but constant over so small an angle.
  constexpr int kSteps = 3;
  for (int k = 0; k < kSteps; ++k) {
    away.torque = boom_torque(apparatus, Side::kAway, away.rest_rad).total();
    const double off_rad = away.rest_rad - wire_rad - radians_per_torque * away.torque.torque;
    away.rest_rad -= off_rad / (1 - radians_per_torque * away.torque.slope);
  }
  return away;
}

/// Slope of the pull that the measured period felt.
double felt_slope(const Apparatus& apparatus,
                  const NightFindings& findings,
                  const SideTorques& pull,
                  double theta_rad) {
  if (findings.period_measured == PeriodMeasured::kBesideSources) return pull.mean().total().slope;
  return away_rest(apparatus, pull, theta_rad).torque.slope;
}

// What I w0^2 theta has to be divided by.
double balancing_torque(const SideTorques& pull, double theta_rad, double slope) {
  return pull.mean().total().torque - theta_rad * slope;
}

// The factors of G = inertia omega2 theta/torque, which the corrections replace one by one.
struct Factors {
  double inertia_kg_m2;
  double omega2_per_s2;
  double theta_rad;
  double torque_kg2_per_m;

  [[nodiscard]] double g() const {
    return inertia_kg_m2 * omega2_per_s2 * theta_rad / torque_kg2_per_m;
  }
};

Factors textbook_factors(const Apparatus& apparatus, const NightFindings& findings) {
  const double shift_m = std::abs(findings.x_plus_mm - findings.x_minus_mm) * 1e-3;
  const double test_kg = apparatus.test.mass_kg.value;
  const double arm_m = apparatus.arm_m.value;
  return {.inertia_kg_m2 = 2 * test_kg * square(arm_m),
          .omega2_per_s2 = damped_omega2_per_s2(findings),
          .theta_rad = shift_m / (4 * apparatus.mirror_to_wall_m.value),
          .torque_kg2_per_m = 2 * apparatus.source.mass_kg.value * test_kg * arm_m /
                              square(mean_separation_m(apparatus))};
}

/// The same balance with its masses in points.
Apparatus with_points(Apparatus apparatus) {
  apparatus.source.shape = apparatus.test.shape = Sphere{{0.0, 0.0}};
  apparatus.rod.reset();
  return apparatus;
}

std::vector<Correction> corrections_of(const Apparatus& apparatus,
                                       const NightFindings& findings,
                                       const GravityResult& result,
                                       double balancing) {
  const BoomInertia inertia = boom_inertia(apparatus);
  const BoomTorque midway = mean_torque(apparatus, 0.0);
  Factors factors = textbook_factors(apparatus, findings);
  std::vector<Correction> corrections;
  const auto replace = [&](std::string name, double Factors::*factor, double better) {
    const double before = factors.*factor;
    factors.*factor = better;
    // Compared by the factor itself: G may be zero on a night without shift.
    const double ratio = factor == &Factors::torque_kg2_per_m ? before / better : better / before;
    corrections.push_back({std::move(name), before == better ? 0.0 : 100 * (ratio - 1)});
  };
  replace("optical lever (arctangent, foot, lean, scale)", &Factors::theta_rad, result.theta_rad);
  replace("damping", &Factors::omega2_per_s2, omega2_per_s2(findings));
  double sum_kg_m2 = inertia.points_kg_m2 + inertia.size_kg_m2;
  replace("inertia: size of the test masses", &Factors::inertia_kg_m2, sum_kg_m2);
  sum_kg_m2 += inertia.rod_kg_m2;
  replace("inertia: rod", &Factors::inertia_kg_m2, sum_kg_m2);
  sum_kg_m2 += inertia.mirror_kg_m2;
  replace("inertia: mirror", &Factors::inertia_kg_m2, sum_kg_m2);
  if (apparatus.sides) {
    const double as_points = mean_torque(with_points(apparatus), 0.0).near_pairs.torque;
    replace("pull: places of the source masses", &Factors::torque_kg2_per_m, as_points);
  }
  double torque = midway.near_pairs.torque;
  replace("pull: shape of the masses", &Factors::torque_kg2_per_m, torque);
  torque += midway.far_pairs.torque;
  replace("pull: far source masses", &Factors::torque_kg2_per_m, torque);
  torque += midway.rod.torque;
  replace("pull: on the rod", &Factors::torque_kg2_per_m, torque);
  replace("pull: gradient towards the sources", &Factors::torque_kg2_per_m, balancing);
  return corrections;
}

/// What the two sides differ in, where they are no mirror images.
void set_side_differences(const Apparatus& apparatus,
                          const NightFindings& findings,
                          const SideTorques& pull,
                          GravityResult& result) {
  result.away_rest_rad = pull.turn * away_rest(apparatus, pull, result.theta_rad).rest_rad;
  const double g = result.g_m3_kg_s2;
  const double plus_slope = pull.plus.total().slope;
  const double minus_slope = pull.minus.total().slope;
  const double mean_per_s2 =
      (result.kappa_n_m - g * (plus_slope + minus_slope) / 2) / result.inertia_kg_m2 -
      square(findings.damping_per_s);
  const double half_per_s2 = g * (plus_slope - minus_slope) / 2 / result.inertia_kg_m2;
  const double share = half_per_s2 / mean_per_s2;
  if (!(std::abs(share) < 1.0)) return;  // a side that would not swing: not from these findings
  result.frequency_ratios = {.plus = std::sqrt(1 - share), .minus = std::sqrt(1 + share)};
}

bool masses_touch(const Apparatus& apparatus, double theta_rad) {
  return !(least_room_m(apparatus, theta_rad) > 0.0);
}

}  // namespace

OpticalLever optical_lever(const Apparatus& apparatus, double midway_mm) {
  OpticalLever lever{.mirror_to_wall_m = apparatus.mirror_to_wall_m.value,
                     .foot_mm = apparatus.foot_mm ? apparatus.foot_mm->value : midway_mm,
                     .scale_factor = apparatus.scale_factor.value};
  if (const auto& mirror = apparatus.leaning_mirror) {
    lever.mirror_lean_rad = mirror->lean_rad.value;
    lever.laser_elevation_rad = mirror->laser_elevation_rad.value;
    lever.laser_mm = mirror->laser_mm ? mirror->laser_mm->value : midway_mm;
  }
  return lever;
}

double half_rotation_rad(const Apparatus& apparatus, const NightFindings& findings) {
  const OpticalLever lever =
      optical_lever(apparatus, (findings.x_plus_mm + findings.x_minus_mm) / 2);
  const double turned_rad =
      rotation_rad(lever, findings.x_plus_mm) - rotation_rad(lever, findings.x_minus_mm);
  return std::abs(turned_rad) / 2;
}

double gravitational_constant(const Apparatus& apparatus, const NightFindings& findings) {
  check(findings);
  const double theta_rad = half_rotation_rad(apparatus, findings);
  const SideTorques pull = side_torques(apparatus, theta_rad);
  const double slope = felt_slope(apparatus, findings, pull, theta_rad);
  return boom_inertia(apparatus).total_kg_m2() * omega2_per_s2(findings) * theta_rad /
         balancing_torque(pull, theta_rad, slope);
}

double textbook_gravity(const Apparatus& apparatus, const NightFindings& findings) {
  check(findings);
  return textbook_factors(apparatus, findings).g();
}

GravityResult gravity(const Apparatus& apparatus, const NightFindings& findings) {
  GravityResult result{.status = GravityStatus::kComputed,
                       .message = "",
                       .g_m3_kg_s2 = 0,
                       .theta_rad = half_rotation_rad(apparatus, findings),
                       .inertia_kg_m2 = boom_inertia(apparatus).total_kg_m2(),
                       .kappa_n_m = 0,
                       .torque_per_g = {},
                       .frequency_ratios = {},
                       .away_rest_rad = 0,
                       .textbook_m3_kg_s2 = textbook_gravity(apparatus, findings),
                       .corrections = {}};
  if (masses_touch(apparatus, result.theta_rad)) {
    result.status = GravityStatus::kMassesTouch;
    result.message = fmt::format(
        "the spot's shift of {:.1f} mm would mean that the test masses touch the source masses; "
        "check "
        "the calibration of the wall, optical_lever.mirror_to_wall, {} and boom.arm",
        std::abs(findings.x_plus_mm - findings.x_minus_mm),
        apparatus.sides ? "sides" : "separation");
    return result;
  }
  const SideTorques pull = side_torques(apparatus, result.theta_rad);
  const double slope = felt_slope(apparatus, findings, pull, result.theta_rad);
  const double balancing = balancing_torque(pull, result.theta_rad, slope);
  const double stiffness = result.inertia_kg_m2 * omega2_per_s2(findings);
  result.torque_per_g = pull.mean();
  result.g_m3_kg_s2 = stiffness * result.theta_rad / balancing;
  result.kappa_n_m = stiffness + result.g_m3_kg_s2 * slope;
  if (apparatus.sides) set_side_differences(apparatus, findings, pull, result);
  result.corrections = corrections_of(apparatus, findings, result, balancing);
  return result;
}

}  // namespace nightswing::analysis
