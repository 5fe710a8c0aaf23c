#include "demo_video/apparatus_reading.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "demo_video/random_stream.h"

namespace nightswing::demo {
namespace {

Reading in_units_of(const Reading& reading, double unit) {
  return {reading.value / unit, reading.u / unit};
}

std::string mm(const Reading& length_m) {
  return concise(in_units_of(length_m, 1e-3)) + " mm";
}
std::string g(const Reading& mass_kg) {
  return concise(in_units_of(mass_kg, 1e-3)) + " g";
}

}  // namespace

ApparatusReading read_apparatus(const NightSettings& settings) {
  auto random = random_stream(settings.seed, Chance::kReading);
  std::normal_distribution<double> normal;
  const auto read = [&](double truth, double u) { return Reading{truth + u * normal(random), u}; };
  const Balance& balance = settings.balance;
  // Initialisers in braces are evaluated in order, so each value keeps its draw.
  return ApparatusReading{
      .source_mass_kg = read(balance.source_mass_kg, 1e-3),
      .source_diameter_m = read(balance.source_diameter_m, 0.1e-3),
      .test_mass_kg = read(balance.test_mass_kg, 0.1e-3),
      .test_diameter_m = read(balance.test_diameter_m, 0.05e-3),
      .arm_m = read(balance.arm_m, 0.2e-3),
      .rod_mass_kg = read(balance.rod_mass_kg, 0.1e-3),
      .rod_length_m = read(balance.rod_length_m, 0.5e-3),
      .rod_diameter_m = read(balance.rod_diameter_m, 0.1e-3),
      .mirror_inertia_kg_m2 = read(balance.mirror_inertia_kg_m2, 0.2e-8),
      .separation_m = read(balance.separation_m, 0.3e-3),
      .mirror_to_wall_m = read(settings.lever.mirror_to_wall_m, 5e-3),
      .foot_x_mm = read(settings.lever.foot_x_mm / settings.wall.scale_factor, 20.0),
      // 480 mm of it laid beside a steel rule and read to 0.1 mm
      .scale_factor = read(settings.wall.scale_factor, 0.2e-3),
  };
}

std::string concise(const Reading& reading, int power) {
  const double unit = std::pow(10.0, power);
  const double u = reading.u / unit;
  if (!(u > 0)) throw std::invalid_argument("concise: u must be larger than 0");
  // Rounded first, so that 0.0996 counts as 0.10 and keeps two digits.
  const int decimals = std::max(0, 1 - static_cast<int>(std::floor(std::log10(u * (1 + 5e-3)))));
  const long digits = std::lround(u * std::pow(10.0, decimals));
  const std::string exponent = power == 0 ? "" : fmt::format("e{}", power);
  return fmt::format("{:.{}f}({}){}", reading.value / unit, decimals, digits, exponent);
}

std::string apparatus_yaml(const ApparatusReading& reading) {
  return fmt::format(
      "# An invented balance: drawn by demo_night, measured by nobody. Each value is the truth of\n"
      "# truth.json with an error drawn from the standard uncertainty in its brackets.\n"
      "title: Basement balance (invented)\n"
      "source_masses: {{shape: sphere, mass: {source_mass} kg, diameter: {source_diameter}, "
      "material: lead}}\n"
      "test_masses:   {{shape: sphere, mass: {test_mass}, diameter: {test_diameter}, "
      "material: lead}}\n"
      "boom:          {{arm: {arm}, rod: {{mass: {rod_mass}, length: {rod_length}, "
      "width: {rod_width}}}, mirror_inertia: {mirror} kg m2}}\n"
      "separation: {separation}\n"
      "optical_lever: {{mirror_to_wall: {distance} m, foot: {foot} mm}}\n"
      "scale: {{factor: {factor}}}\n",
      fmt::arg("source_mass", concise(reading.source_mass_kg)),
      fmt::arg("source_diameter", mm(reading.source_diameter_m)),
      fmt::arg("test_mass", g(reading.test_mass_kg)),
      fmt::arg("test_diameter", mm(reading.test_diameter_m)),
      fmt::arg("arm", mm(reading.arm_m)),
      fmt::arg("rod_mass", g(reading.rod_mass_kg)),
      fmt::arg("rod_length", mm(reading.rod_length_m)),
      fmt::arg("rod_width", mm(reading.rod_diameter_m)),
      fmt::arg("mirror", concise(reading.mirror_inertia_kg_m2, -8)),
      fmt::arg("separation", mm(reading.separation_m)),
      fmt::arg("distance", concise(reading.mirror_to_wall_m)),
      fmt::arg("foot", concise(reading.foot_x_mm)),
      fmt::arg("factor", concise(reading.scale_factor)));
}

}  // namespace nightswing::demo
