#include "analysis/balance/wire_stiffness.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "analysis/apparatus/wire_materials.h"

namespace nightswing::analysis {
namespace {

constexpr double kLeastFactor = 1.5;
constexpr double kSureOf = 3.0;  // standard uncertainties

double relative_u(const Measured& quantity) {
  return quantity.u / quantity.value;
}

}  // namespace

double torsion_constant_n_m(const Wire& wire, double shear_pa) {
  return std::numbers::pi * shear_pa * std::pow(wire.diameter_m.value, 4) /
         (32.0 * wire.length_m.value);
}

std::optional<std::string> wire_doubt(const Apparatus& apparatus,
                                      double measured_n_m,
                                      double inertia_kg_m2) {
  if (!apparatus.wire) return std::nullopt;
  const Wire& wire = *apparatus.wire;
  const auto material = wire_material(wire.material);
  if (!material) return std::nullopt;
  const double low_n_m = torsion_constant_n_m(wire, material->shear_low_pa);
  const double high_n_m = torsion_constant_n_m(wire, material->shear_high_pa);
  const double u = std::hypot(4.0 * relative_u(wire.diameter_m), relative_u(wire.length_m));
  const double factor = std::max(kLeastFactor, 1.0 + kSureOf * u);
  if (low_n_m / factor <= measured_n_m && measured_n_m <= high_n_m * factor) return std::nullopt;
  const auto period_s = [&](double kappa_n_m) {
    return 2.0 * std::numbers::pi * std::sqrt(inertia_kg_m2 / kappa_n_m);
  };
  return fmt::format(
      "with the wire of the apparatus file ({}, {:.4g} um, {:.5g} mm) the boom would swing in "
      "{:.0f} to {:.0f} s without the sources, but by this night it would in {:.0f} s: is it the "
      "file of this balance, are its lengths and masses right, and the times of the frames? If "
      "only the wire is another, G is right, which does not need it",
      wire.material,
      1e6 * wire.diameter_m.value,
      1e3 * wire.length_m.value,
      period_s(high_n_m),
      period_s(low_n_m),
      period_s(measured_n_m));
}

}  // namespace nightswing::analysis
