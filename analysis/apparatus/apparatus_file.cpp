#include "analysis/apparatus/apparatus_file.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "analysis/apparatus/source_places.h"
#include "analysis/apparatus/source_places_file.h"
#include "analysis/quantities/quantity.h"
#include "analysis/quantities/yaml_mapping.h"

namespace nightswing::analysis {
namespace {

// What a printed or steel scale is good for when nobody measured it: common practice, no source.
constexpr Measured kAssumedScaleFactor{1.000, 0.001};

struct PureMaterial {
  std::string_view name;
  double density_kg_m3;
};

// At 20 degrees C; handbook values, from memory. They only serve a warning at 5 % and more.
constexpr std::array kPureMaterials{
    PureMaterial{"aluminium", 2700},
    PureMaterial{"iron", 7870},
    PureMaterial{"copper", 8960},
    PureMaterial{"lead", 11340},
    PureMaterial{"gold", 19300},
    PureMaterial{"tungsten", 19300},
};
constexpr double kDensityTolerance = 0.05;

std::string material_of(YamlMapping& map) {
  std::string material = map.optional_text("material").value_or("");
  for (char& c : material) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return material;
}

CylinderAxis axis_of(YamlMapping& map) {
  const std::string axis = map.text("axis");
  if (axis == "vertical") return CylinderAxis::kVertical;
  if (axis == "along_boom") return CylinderAxis::kAlongBoom;
  if (axis == "across") return CylinderAxis::kAcross;
  map.fail("axis", fmt::format("must be vertical, along_boom or across, but is '{}'", axis));
}

Box box_of(YamlMapping& map) {
  const auto size = map.three_lengths("size", "along the boom, across it and vertical");
  if (std::ranges::any_of(size, [](const Measured& edge) { return !(edge.value > 0); })) {
    map.fail("size", "must be above zero in all three directions");
  }
  return {.along_m = size[0], .across_m = size[1], .vertical_m = size[2]};
}

Shape shape_of(YamlMapping& map) {
  const std::string shape = map.text("shape");
  if (shape == "sphere") return Sphere{map.positive_quantity("diameter", Dimension::kLength)};
  if (shape == "cylinder") {
    return Cylinder{.diameter_m = map.positive_quantity("diameter", Dimension::kLength),
                    .length_m = map.positive_quantity("length", Dimension::kLength),
                    .axis = axis_of(map)};
  }
  if (shape == "box") return box_of(map);
  map.fail("shape", fmt::format("must be sphere, cylinder or box, but is '{}'", shape));
}

void warn_of_density(const YamlMapping& file,
                     std::string_view key,
                     const Body& body,
                     std::vector<std::string>& warnings) {
  const auto pure = std::ranges::find(kPureMaterials, body.material, &PureMaterial::name);
  if (pure == kPureMaterials.end()) return;
  const double density = density_kg_m3(body);
  const double excess = density / pure->density_kg_m3 - 1;
  if (std::abs(excess) <= kDensityTolerance) return;
  warnings.push_back(
      fmt::format("{}: mass and size give {:.0f} kg/m3, {:.0f} % {} than {} ({:.0f} kg/m3); check "
                  "both, or name "
                  "the alloy",
                  file.where(key),
                  density,
                  100 * std::abs(excess),
                  excess > 0 ? "more" : "less",
                  pure->name,
                  pure->density_kg_m3));
}

bool is_ferromagnetic(const Body& body) {
  return std::ranges::any_of(
      std::array{"iron", "steel", "nickel", "cobalt"},
      [&](const char* name) { return body.material.find(name) != std::string::npos; });
}

void warn_of_iron(const YamlMapping& file,
                  std::string_view key,
                  const Body& body,
                  std::vector<std::string>& warnings) {
  if (!is_ferromagnetic(body)) return;
  warnings.push_back(
      fmt::format("{}: {} can be magnetic, and a magnetic pull looks like gravity; test it with a "
                  "compass needle "
                  "or use lead, tungsten or brass",
                  file.where(key),
                  body.material));
}

void warn_of_magnetic_pair(const Body& source,
                           const Body& test,
                           std::vector<std::string>& warnings) {
  if (!is_ferromagnetic(source) || !is_ferromagnetic(test)) return;
  warnings.push_back(
      fmt::format("source masses of {} and test masses of {} pull at each other magnetically, "
                  "usually far more than by gravity: do not call the result G; change one of them "
                  "for lead, tungsten or brass",
                  source.material,
                  test.material));
}

Body body_of(YamlMapping& file, std::string_view key, std::vector<std::string>& warnings) {
  YamlMapping map = file.mapping(key);
  Body body{.shape = shape_of(map),
            .mass_kg = map.positive_quantity("mass", Dimension::kMass),
            .material = material_of(map)};
  map.finish();
  warn_of_density(file, key, body, warnings);
  warn_of_iron(file, key, body, warnings);
  return body;
}

std::optional<Rod> rod_of(YamlMapping& boom, std::vector<std::string>& assumptions) {
  auto map = boom.optional_mapping("rod");
  if (!map) {
    assumptions.emplace_back(
        "the boom's rod has no mass (boom.rod is not given); it would be pulled and would "
        "swing too");
    return std::nullopt;
  }
  const Rod rod{.mass_kg = map->positive_quantity("mass", Dimension::kMass),
                .length_m = map->positive_quantity("length", Dimension::kLength),
                .width_m = map->positive_quantity("width", Dimension::kLength)};
  map->finish();
  return rod;
}

Measured mirror_inertia_of(YamlMapping& boom, std::vector<std::string>& assumptions) {
  const auto inertia = boom.optional_quantity("mirror_inertia", Dimension::kInertia);
  if (!inertia) {
    assumptions.emplace_back(
        "the mirror has no moment of inertia (boom.mirror_inertia is not given)");
    return {0, 0};
  }
  if (inertia->value < 0) boom.fail("mirror_inertia", "must not be negative");
  return *inertia;
}

std::optional<Wire> wire_of(YamlMapping& file) {
  auto map = file.optional_mapping("wire");
  if (!map) return std::nullopt;
  Wire wire{.material = material_of(*map),
            .diameter_m = map->positive_quantity("diameter", Dimension::kLength),
            .length_m = map->positive_quantity("length", Dimension::kLength)};
  map->finish();
  return wire;
}

Measured to_mm(const Measured& length_m) {
  return {length_m.value * 1e3, length_m.u * 1e3, length_m.distribution};
}

std::optional<Measured> foot_of(YamlMapping& lever, std::vector<std::string>& assumptions) {
  const auto foot_m = lever.optional_quantity("foot", Dimension::kLength);
  if (!foot_m) {
    assumptions.emplace_back(
        "the perpendicular from the mirror meets the scale midway between the equilibria "
        "(optical_lever.foot is not given); a beam 10 degrees off it changes G by 3 %");
    return std::nullopt;
  }
  return to_mm(*foot_m);
}

/// An angle of the lever within what a usable arrangement can have, and surely so: all that may be
/// drawn of it must still reflect the beam to the wall.
Measured angle_within(YamlMapping& lever,
                      std::string_view key,
                      const Measured& angle_rad,
                      double most_deg) {
  constexpr double kSureOf = 4.0;  // standard uncertainties
  const double degree_rad = std::numbers::pi / 180;
  if (std::abs(angle_rad.value) > most_deg * degree_rad) {
    lever.fail(key,
               fmt::format("must lie between {0:g} and {1:g} deg, but is '{2}'",
                           -most_deg,
                           most_deg,
                           lever.text(key)));
  }
  if (std::abs(angle_rad.value) + kSureOf * angle_rad.u > 1.25 * most_deg * degree_rad) {
    lever.fail(key, fmt::format("is too uncertain, '{}'; measure it better", lever.text(key)));
  }
  return angle_rad;
}

std::optional<LeaningMirror> leaning_mirror_of(YamlMapping& lever,
                                               std::vector<std::string>& assumptions) {
  const auto lean = lever.optional_quantity("mirror_lean", Dimension::kAngle);
  const auto elevation = lever.optional_quantity("laser_elevation", Dimension::kAngle);
  const auto laser_m = lever.optional_quantity("laser", Dimension::kLength);
  if (!lean) {
    if (elevation || laser_m) {
      lever.fail(elevation ? "laser_elevation" : "laser",
                 "says nothing without mirror_lean; give that too, or leave it out");
    }
    assumptions.emplace_back(
        "the mirror stands upright (no optical_lever.mirror_lean; 5 deg change G by 0.8 %)");
    return std::nullopt;
  }
  if (!elevation) {
    assumptions.emplace_back(
        "the laser stands level with the mirror (optical_lever.laser_elevation is not given)");
  }
  if (!laser_m) {
    assumptions.emplace_back(
        "seen from above, the laser stands in line with the place midway between the "
        "equilibria (optical_lever.laser is not given)");
  }
  return LeaningMirror{
      .lean_rad = angle_within(lever, "mirror_lean", *lean, 15),
      .laser_elevation_rad =
          elevation ? angle_within(lever, "laser_elevation", *elevation, 30) : Measured{0, 0},
      .laser_mm = laser_m ? std::optional(to_mm(*laser_m)) : std::nullopt};
}

Measured scale_factor_of(YamlMapping& file, std::vector<std::string>& assumptions) {
  auto scale = file.optional_mapping("scale");
  if (!scale) {
    assumptions.push_back(fmt::format("the scale is true, factor {} (scale.factor is not given)",
                                      format_quantity(kAssumedScaleFactor, "")));
    return kAssumedScaleFactor;
  }
  const Measured factor = scale->positive_quantity("factor", Dimension::kNumber);
  scale->finish();
  return factor;
}

/// Lengths and masses outside of these are most likely a slip of the unit or of the decimal point.
/// Common practice, no source: balances between a shoe box and a cellar.
/// Where the rod of the boom ends, and what it is made of.
void warn_of_odd_rod(const YamlMapping& file,
                     const Apparatus& apparatus,
                     std::vector<std::string>& warnings) {
  const double half_mm = 0.5e3 * apparatus.rod->length_m.value;
  const double arm_mm = 1e3 * apparatus.arm_m.value;
  const double test_mm = 1e3 * half_extents(apparatus.test.shape).along_m;
  const bool is_short = half_mm < arm_mm - test_mm;
  if (is_short || half_mm > 1.5 * (arm_mm + test_mm)) {
    warnings.push_back(fmt::format(
        "{}: a rod of {:.6g} mm {} the test masses, which reach from {:.4g} to {:.4g} mm from the "
        "wire; check its length, end to end, and the arm",
        file.where("boom"),
        2.0 * half_mm,
        is_short ? "ends before" : "goes far beyond",
        arm_mm - test_mm,
        arm_mm + test_mm));
  }
  const double density = density_kg_m3(as_body(*apparatus.rod));
  // Hollow tubes are light; osmium has 22 600 (from memory).
  if (density < 50.0 || density > 23000.0) {
    warnings.push_back(
        fmt::format("{}: mass and size of the rod give {:.3g} kg/m3, which is no material's; check "
                    "mass, length and width",
                    file.where("boom"),
                    density));
  }
}

void warn_of_odd_sizes(const YamlMapping& file,
                       const Apparatus& apparatus,
                       std::vector<std::string>& warnings) {
  const auto expect =
      [&](std::string_view key, double value, double least, double most, std::string_view unit) {
        if (value >= least && value <= most) return;
        warnings.push_back(
            fmt::format("{}: {:.6g} {} is unusual (expected {:.6g} to {:.6g} {}); check "
                        "the unit and the decimal point",
                        file.where(key),
                        value,
                        unit,
                        least,
                        most,
                        unit));
      };
  expect("source_masses", apparatus.source.mass_kg.value, 0.05, 500.0, "kg");
  expect("test_masses", 1e3 * apparatus.test.mass_kg.value, 0.1, 2e4, "g");
  expect("boom", 1e3 * apparatus.arm_m.value, 5.0, 2000.0, "mm");
  expect(apparatus.sides ? "sides" : "separation",
         1e3 * mean_separation_m(apparatus),
         5.0,
         5e3 * (half_extents(apparatus.source.shape).across_m +
                half_extents(apparatus.test.shape).across_m),
         "mm");
  expect("optical_lever", apparatus.mirror_to_wall_m.value, 0.2, 50.0, "m");
  if (apparatus.wire) {
    expect("wire", 1e6 * apparatus.wire->diameter_m.value, 1.0, 1000.0, "um");
    expect("wire", 1e3 * apparatus.wire->length_m.value, 10.0, 1e4, "mm");
  }
  // One slip deserves one warning: an arm in metres would make any rod look short.
  if (apparatus.rod && apparatus.arm_m.value < 2.0) warn_of_odd_rod(file, apparatus, warnings);
  constexpr double kMostOff = 0.05;  // of a print or a ruler, as for `--bar`
  if (std::abs(apparatus.scale_factor.value - 1.0) > kMostOff) {
    warnings.push_back(
        fmt::format("{}: a factor of {:.6g} makes the scale's millimetres {:.0f} % wrong, which no "
                    "print and no ruler is; it is the true length of what the scale calls 1 mm",
                    file.where("scale"),
                    apparatus.scale_factor.value,
                    100.0 * std::abs(apparatus.scale_factor.value - 1.0)));
  }
  if (apparatus.foot_mm &&
      std::abs(apparatus.foot_mm->value) > 1e3 * apparatus.mirror_to_wall_m.value) {
    warnings.push_back(
        fmt::format("{}: a foot at {:.6g} mm of the scale is farther off than the mirror is from "
                    "the wall ({:.4g} m); check its unit and where the scale's zero is",
                    file.where("optical_lever"),
                    apparatus.foot_mm->value,
                    apparatus.mirror_to_wall_m.value));
  }
}

Apparatus read_apparatus(YamlMapping file) {
  std::vector<std::string> assumptions;
  std::vector<std::string> warnings;
  std::string title = file.text("title");
  Body source = body_of(file, "source_masses", warnings);
  Body test = body_of(file, "test_masses", warnings);
  warn_of_magnetic_pair(source, test, warnings);
  YamlMapping boom = file.mapping("boom");
  const Measured arm_m = boom.positive_quantity("arm", Dimension::kLength);
  const auto rod = rod_of(boom, assumptions);
  const Measured mirror_inertia = mirror_inertia_of(boom, assumptions);
  boom.finish();
  const SourcesInFile sources = sources_in(file);
  YamlMapping lever = file.mapping("optical_lever");
  const Measured mirror_to_wall_m = lever.positive_quantity("mirror_to_wall", Dimension::kLength);
  const auto foot_mm = foot_of(lever, assumptions);
  auto leaning_mirror = leaning_mirror_of(lever, assumptions);
  lever.finish();
  auto wire = wire_of(file);
  const Measured scale_factor = scale_factor_of(file, assumptions);
  file.finish();

  Apparatus apparatus{.title = std::move(title),
                      .source = std::move(source),
                      .test = std::move(test),
                      .arm_m = arm_m,
                      .rod = rod,
                      .mirror_inertia_kg_m2 = mirror_inertia,
                      .separation_m = sources.separation_m,
                      .sides = sources.sides,
                      .wire = std::move(wire),
                      .mirror_to_wall_m = mirror_to_wall_m,
                      .foot_mm = foot_mm,
                      .leaning_mirror = leaning_mirror,
                      .scale_factor = scale_factor,
                      .assumptions = std::move(assumptions),
                      .warnings = std::move(warnings)};
  warn_of_odd_sizes(file, apparatus, apparatus.warnings);
  check_source_places(file, apparatus, apparatus.warnings);
  return apparatus;
}

}  // namespace

Apparatus read_apparatus_file(const std::filesystem::path& path) {
  return read_apparatus(YamlMapping::from_file(path));
}

Apparatus read_apparatus_text(const std::string& text, std::string file_name) {
  return read_apparatus(YamlMapping::from_text(text, std::move(file_name)));
}

}  // namespace nightswing::analysis
