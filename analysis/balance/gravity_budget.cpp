#include "analysis/balance/gravity_budget.h"

#include <cmath>
#include <stdexcept>
#include <string>
#include <variant>

namespace nightswing::analysis {
namespace {

struct NamedQuantity {
  std::string name;
  std::string unit;
  Measured* quantity;
};

using Quantities = std::vector<NamedQuantity>;

void add_shape(Quantities& list, const std::string& name, Shape& shape) {
  if (auto* sphere = std::get_if<Sphere>(&shape)) {
    list.push_back({name + ".diameter", "m", &sphere->diameter_m});
  } else if (auto* cylinder = std::get_if<Cylinder>(&shape)) {
    list.push_back({name + ".diameter", "m", &cylinder->diameter_m});
    list.push_back({name + ".length", "m", &cylinder->length_m});
  } else if (auto* box = std::get_if<Box>(&shape)) {
    list.push_back({name + ".size along", "m", &box->along_m});
    list.push_back({name + ".size across", "m", &box->across_m});
    list.push_back({name + ".size vertical", "m", &box->vertical_m});
  }
}

void add_sources(Quantities& list, Apparatus& apparatus) {
  if (!apparatus.sides) {
    list.push_back({"separation", "m", &apparatus.separation_m.value()});
    return;
  }
  const auto add = [&](const std::string& name, SourcePlace& place) {
    list.push_back({name + " along", "m", &place.along_m});
    list.push_back({name + " across", "m", &place.across_m});
    list.push_back({name + " height", "m", &place.height_m});
  };
  add("sides.plus.first", apparatus.sides->plus[0]);
  add("sides.plus.second", apparatus.sides->plus[1]);
  add("sides.minus.first", apparatus.sides->minus[0]);
  add("sides.minus.second", apparatus.sides->minus[1]);
}

// Every measured quantity of the apparatus that G depends on; the order depends on nothing but
// which of them exist, so that it is the same for a copy.
Quantities quantities_of(Apparatus& apparatus) {
  Quantities list;
  list.push_back({"source_masses.mass", "kg", &apparatus.source.mass_kg});
  if (!std::holds_alternative<Sphere>(apparatus.source.shape)) {
    add_shape(list, "source_masses", apparatus.source.shape);
  }
  list.push_back({"test_masses.mass", "kg", &apparatus.test.mass_kg});
  add_shape(list, "test_masses", apparatus.test.shape);
  list.push_back({"boom.arm", "m", &apparatus.arm_m});
  if (apparatus.rod) {
    list.push_back({"boom.rod.mass", "kg", &apparatus.rod->mass_kg});
    list.push_back({"boom.rod.length", "m", &apparatus.rod->length_m});
    list.push_back({"boom.rod.width", "m", &apparatus.rod->width_m});
  }
  if (apparatus.mirror_inertia_kg_m2.value != 0 || apparatus.mirror_inertia_kg_m2.u != 0) {
    list.push_back({"boom.mirror_inertia", "kg m2", &apparatus.mirror_inertia_kg_m2});
  }
  add_sources(list, apparatus);
  list.push_back({"optical_lever.mirror_to_wall", "m", &apparatus.mirror_to_wall_m});
  if (apparatus.foot_mm) list.push_back({"optical_lever.foot", "mm", &*apparatus.foot_mm});
  if (auto& mirror = apparatus.leaning_mirror) {
    list.push_back({"optical_lever.mirror_lean", "rad", &mirror->lean_rad});
    list.push_back({"optical_lever.laser_elevation", "rad", &mirror->laser_elevation_rad});
    if (mirror->laser_mm) list.push_back({"optical_lever.laser", "mm", &*mirror->laser_mm});
  }
  list.push_back({"scale.factor", "", &apparatus.scale_factor});
  return list;
}

void check(const NightUncertainty& uncertainty) {
  const bool usable =
      uncertainty.covariance.allFinite() && uncertainty.covariance.diagonal().minCoeff() >= 0 &&
      std::isfinite(uncertainty.wall.relative_u()) && uncertainty.wall.scale_relative_u >= 0 &&
      uncertainty.wall.nonlinearity_relative_u >= 0 && std::abs(uncertainty.wall.correlation) <= 1;
  if (!usable) {
    throw std::invalid_argument("gravity_inputs: negative or unusable uncertainty of the night");
  }
}

// Correlations of the four findings in the place they have among all inputs.
Eigen::MatrixXd correlation_of(const Eigen::Matrix4d& covariance,
                               Eigen::Index first,
                               Eigen::Index count) {
  Eigen::MatrixXd correlation = Eigen::MatrixXd::Identity(count, count);
  for (Eigen::Index i = 0; i < 4; ++i) {
    for (Eigen::Index j = 0; j < 4; ++j) {
      const double scale = std::sqrt(covariance(i, i) * covariance(j, j));
      if (i != j && scale > 0) correlation(first + i, first + j) = covariance(i, j) / scale;
    }
  }
  return correlation;
}

// The map of the wall stretches the shift about its middle.
NightFindings stretched(NightFindings findings, double factor) {
  const double middle_mm = (findings.x_plus_mm + findings.x_minus_mm) / 2;
  const double half_mm = factor * (findings.x_plus_mm - findings.x_minus_mm) / 2;
  findings.x_plus_mm = middle_mm + half_mm;
  findings.x_minus_mm = middle_mm - half_mm;
  return findings;
}

double evaluate(Apparatus apparatus, NightFindings findings, const Eigen::VectorXd& values) {
  Eigen::Index i = 0;
  for (const NamedQuantity& named : quantities_of(apparatus)) named.quantity->value = values[i++];
  findings.x_plus_mm = values[i++];
  findings.x_minus_mm = values[i++];
  findings.period_s = values[i++];
  findings.damping_per_s = values[i++];
  return gravitational_constant(apparatus, stretched(findings, values[i] * values[i + 1]));
}

}  // namespace

GravityInputs gravity_inputs(const Apparatus& apparatus,
                             const NightFindings& findings,
                             const NightUncertainty& uncertainty) {
  check(uncertainty);
  GravityInputs result;
  Apparatus copy = apparatus;
  for (const NamedQuantity& named : quantities_of(copy)) {
    result.inputs.push_back({.name = named.name,
                             .value = named.quantity->value,
                             .u = named.quantity->u,
                             .unit = named.unit,
                             .distribution = named.quantity->distribution});
  }
  const auto first = static_cast<Eigen::Index>(result.inputs.size());
  const Eigen::Vector4d u = uncertainty.covariance.diagonal().cwiseSqrt();
  const double dof = uncertainty.degrees_of_freedom;
  result.inputs.push_back({"equilibrium plus", findings.x_plus_mm, u[0], "mm", dof});
  result.inputs.push_back({"equilibrium minus", findings.x_minus_mm, u[1], "mm", dof});
  result.inputs.push_back({"period", findings.period_s, u[2], "s", dof});
  result.inputs.push_back({"damping", findings.damping_per_s, u[3], "1/s", dof});
  result.inputs.push_back({"wall map, scale factor", 1.0, uncertainty.wall.scale_relative_u, ""});
  result.inputs.push_back(
      {"wall map, non-linearity", 1.0, uncertainty.wall.nonlinearity_relative_u, ""});
  result.first_finding = static_cast<std::size_t>(first);
  result.cheap = std::holds_alternative<Sphere>(apparatus.source.shape) &&
                 std::holds_alternative<Sphere>(apparatus.test.shape);
  result.correlation = correlation_of(
      uncertainty.covariance, first, static_cast<Eigen::Index>(result.inputs.size()));
  const Eigen::Index last = result.correlation.cols() - 1;
  result.correlation(last, last - 1) = result.correlation(last - 1, last) =
      uncertainty.wall.correlation;
  result.gravitational_constant = [apparatus, findings](const Eigen::VectorXd& values) {
    return evaluate(apparatus, findings, values);
  };
  return result;
}

UncertaintyBudget gravity_budget(const Apparatus& apparatus,
                                 const NightFindings& findings,
                                 const NightUncertainty& uncertainty) {
  const GravityInputs inputs = gravity_inputs(apparatus, findings, uncertainty);
  return propagate(inputs.inputs, inputs.gravitational_constant, inputs.correlation);
}

}  // namespace nightswing::analysis
