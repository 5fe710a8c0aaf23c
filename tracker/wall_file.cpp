#include "tracker/wall_file.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <yaml-cpp/yaml.h>

#include "analysis/input_error.h"
#include "analysis/yaml_mapping.h"
#include "tracker/csv_text.h"
#include "tracker/line_file.h"

namespace nightswing::tracker {
namespace {

using analysis::YamlMapping;
using calibration::FittedReference;
using calibration::MapKind;
using calibration::WallMap;

void emit_numbers(YAML::Emitter& out, std::string_view key, const std::vector<double>& numbers) {
  out << YAML::Key << std::string(key) << YAML::Value << YAML::Flow << YAML::BeginSeq;
  for (const double number : numbers) out << number_text(number);
  out << YAML::EndSeq;
}

void emit_number(YAML::Emitter& out, std::string_view key, double number) {
  out << YAML::Key << std::string(key) << YAML::Value << number_text(number);
}

/// The list under the key, which must have this many numbers.
std::vector<double> numbers_of(YamlMapping& file, std::string_view key, std::size_t count) {
  std::vector<double> numbers = file.numbers(key);
  if (numbers.size() != count) file.fail(key, fmt::format("does not hold {} numbers", count));
  return numbers;
}

FittedReference reference_of(YamlMapping& entry) {
  const auto pixel = numbers_of(entry, "pixel", 2);
  const auto wall = numbers_of(entry, "wall_mm", 2);
  const auto residual = numbers_of(entry, "residual_px", 2);
  FittedReference reference{.point = {.pixel = {pixel[0], pixel[1]}, .wall = {wall[0], wall[1]}},
                            .residual_x_px = residual[0],
                            .residual_y_px = residual[1]};
  reference.point.u_px = entry.number("u_px");
  if (const auto marker = entry.optional_number("marker")) {
    reference.point.marker = static_cast<int>(*marker);
  }
  entry.finish();
  return reference;
}

}  // namespace

void write_wall_map(const std::filesystem::path& path, const WallMap& map) {
  YAML::Emitter out;
  out << YAML::Comment(
      "From a pixel of the stored picture to millimetres on the wall; the formulas "
      "stand in DEVELOPERS.md.");
  out << YAML::BeginMap;
  out << YAML::Key << "kind" << YAML::Value << (map.kind == MapKind::kPlane ? "plane" : "line");
  emit_numbers(out, "frame_px", {1.0 * map.frame.width_px, 1.0 * map.frame.height_px});
  emit_numbers(out, "centre_px", {map.centre.x_px, map.centre.y_px});
  emit_number(out, "half_span_px", map.half_span_px);
  emit_numbers(out, "direction", {map.direction_x, map.direction_y});
  emit_numbers(out, "parameters", map.parameters);
  emit_numbers(out, "covariance", map.covariance);
  emit_number(out, "degrees_of_freedom", map.degrees_of_freedom);
  emit_number(out, "reduced_chi2", map.reduced_chi2);
  emit_number(out, "residual_rms_px", calibration::residual_rms_px(map));
  out << YAML::Key << "note" << YAML::Value << YAML::DoubleQuoted << map.note;
  out << YAML::Key << "references" << YAML::Value << YAML::BeginSeq;
  for (const FittedReference& reference : map.references) {
    const auto& point = reference.point;
    out << YAML::Flow << YAML::BeginMap;
    emit_numbers(out, "pixel", {point.pixel.x_px, point.pixel.y_px});
    emit_numbers(out, "wall_mm", {point.wall.x_mm, point.wall.y_mm});
    emit_number(out, "u_px", point.u_px);
    if (point.marker != calibration::kNoMarker) emit_number(out, "marker", point.marker);
    emit_numbers(out, "residual_px", {reference.residual_x_px, reference.residual_y_px});
    out << YAML::EndMap;
  }
  out << YAML::EndSeq << YAML::EndMap;
  write_whole_file(path, std::string(out.c_str()) + '\n');
}

WallMap read_wall_map(const std::filesystem::path& path) {
  if (!std::filesystem::exists(path)) {
    throw InputError(fmt::format(
        "{} is missing: the pixels have no millimetres yet; run 'nightswing calibrate {}', with "
        "--point 412.5,388.0=120mm for at least two places of a ruler if no printed scale is in "
        "view",
        path.string(),
        path.parent_path().string()));
  }
  auto file = YamlMapping::from_file(path);
  WallMap map;
  const std::string kind = file.text("kind");
  if (kind != "plane" && kind != "line") file.fail("kind", "is neither 'plane' nor 'line'");
  map.kind = kind == "plane" ? MapKind::kPlane : MapKind::kLine;
  const auto frame = numbers_of(file, "frame_px", 2);
  map.frame = {static_cast<int>(frame[0]), static_cast<int>(frame[1])};
  const auto centre = numbers_of(file, "centre_px", 2);
  map.centre = {centre[0], centre[1]};
  map.half_span_px = file.number("half_span_px");
  if (!(map.half_span_px > 0.0)) file.fail("half_span_px", "is not above zero");
  const auto direction = numbers_of(file, "direction", 2);
  if (std::abs(std::hypot(direction[0], direction[1]) - 1.0) > 1e-9) {
    file.fail("direction", "is no unit vector");
  }
  map.direction_x = direction[0];
  map.direction_y = direction[1];
  const std::size_t count = map.kind == MapKind::kPlane ? 8 : 3;
  map.parameters = numbers_of(file, "parameters", count);
  map.covariance = numbers_of(file, "covariance", count * count);
  map.degrees_of_freedom = static_cast<int>(file.number("degrees_of_freedom"));
  map.reduced_chi2 = file.number("reduced_chi2");
  static_cast<void>(
      file.number("residual_rms_px"));  // for the reader of the file; follows from below
  map.note = file.text("note");
  for (YamlMapping& entry : file.mappings("references")) {
    map.references.push_back(reference_of(entry));
  }
  file.finish();
  return map;
}

}  // namespace nightswing::tracker
