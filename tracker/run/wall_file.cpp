#include "tracker/run/wall_file.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <stdexcept>
#include <string_view>

#include <fmt/format.h>
#include <yaml-cpp/yaml.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/yaml_mapping.h"
#include "tracker/run/csv_text.h"
#include "tracker/run/line_file.h"
#include "tracker/text/shell_word.h"

namespace nightswing::tracker {
namespace {

using analysis::YamlMapping;
using calibration::FittedReference;
using calibration::MapKind;
using calibration::PageShift;
using calibration::WallMap;

std::string_view word_for(MapKind kind) {
  switch (kind) {
    case MapKind::kPlane:
      return "plane";
    case MapKind::kLine:
      return "line";
    case MapKind::kRuler:
      return "ruler";
  }
  throw std::invalid_argument("not a kind of wall map");
}

std::optional<MapKind> map_kind_from(std::string_view word) {
  for (const MapKind kind : {MapKind::kPlane, MapKind::kLine, MapKind::kRuler}) {
    if (word == word_for(kind)) return kind;
  }
  return std::nullopt;
}

std::size_t parameters_of(MapKind kind) {
  if (kind == MapKind::kPlane) return 8;
  return kind == MapKind::kLine ? 3 : 5;
}

void emit_numbers(YAML::Emitter& out, std::string_view key, const std::vector<double>& numbers) {
  out << YAML::Key << std::string(key) << YAML::Value << YAML::Flow << YAML::BeginSeq;
  for (const double number : numbers) out << number_text(number);
  out << YAML::EndSeq;
}

void emit_number(YAML::Emitter& out, std::string_view key, double number) {
  out << YAML::Key << std::string(key) << YAML::Value << number_text(number);
}

constexpr int kMost = 1'000'000;  // of what is counted in the file

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
  if (entry.has("marker")) reference.point.marker = entry.whole_number("marker", -kMost, kMost);
  if (entry.has("page")) reference.point.page = entry.whole_number("page", 0, kMost);
  entry.finish();
  return reference;
}

void emit_pages(YAML::Emitter& out, const WallMap& map) {
  if (map.pages.empty()) return;
  out << YAML::Key << "pages" << YAML::Value << YAML::BeginSeq;
  for (const PageShift& page : map.pages) {
    out << YAML::Flow << YAML::BeginMap;
    emit_number(out, "page", page.page);
    emit_numbers(out, "pivot_mm", {page.pivot.x_mm, page.pivot.y_mm});
    emit_numbers(out, "shift_mm", {page.shift_x_mm, page.shift_y_mm});
    emit_number(out, "turn_rad", page.turn_rad);
    emit_number(out, "larger_relative", page.larger_relative);
    emit_numbers(out, "u_shift_mm", {page.u_x_mm, page.u_y_mm});
    emit_number(out, "u_turn_rad", page.u_turn_rad);
    emit_number(out, "u_larger_relative", page.u_larger_relative);
    out << YAML::EndMap;
  }
  out << YAML::EndSeq;
}

PageShift page_of(YamlMapping& entry) {
  const auto pivot = numbers_of(entry, "pivot_mm", 2);
  const auto shift = numbers_of(entry, "shift_mm", 2);
  const auto u_shift = numbers_of(entry, "u_shift_mm", 2);
  PageShift page{.page = entry.whole_number("page", 0, kMost),
                 .pivot = {pivot[0], pivot[1]},
                 .shift_x_mm = shift[0],
                 .shift_y_mm = shift[1],
                 .turn_rad = entry.number("turn_rad"),
                 .larger_relative = entry.optional_number("larger_relative").value_or(0.0),
                 .u_x_mm = u_shift[0],
                 .u_y_mm = u_shift[1],
                 .u_turn_rad = entry.number("u_turn_rad"),
                 .u_larger_relative = entry.optional_number("u_larger_relative").value_or(0.0)};
  entry.finish();
  return page;
}

/// The lens of a plane or ruler; a map without one has none of the keys.
void read_distortion(YamlMapping& file, WallMap& map) {
  if (!file.has("distortion")) return;
  if (map.kind == MapKind::kLine)
    file.fail("distortion", "does not belong to a map of kind 'line'");
  map.distortion = file.numbers("distortion");
  const auto centre = numbers_of(file, "distortion_centre_px", 2);
  map.distortion_centre = {centre[0], centre[1]};
  map.distortion_radius_px = file.number("distortion_radius_px");
  if (!(map.distortion_radius_px > 0.0)) file.fail("distortion_radius_px", "is not above zero");
}

}  // namespace

void write_wall_map(const std::filesystem::path& path, const WallMap& map) {
  YAML::Emitter out;
  out << YAML::Comment(
      "From a pixel of the stored picture to millimetres on the wall; the formulas "
      "stand in DEVELOPERS.md.");
  out << YAML::BeginMap;
  out << YAML::Key << "kind" << YAML::Value << std::string(word_for(map.kind));
  emit_numbers(out, "frame_px", {1.0 * map.frame.width_px, 1.0 * map.frame.height_px});
  emit_numbers(out, "centre_px", {map.centre.x_px, map.centre.y_px});
  emit_number(out, "half_span_px", map.half_span_px);
  emit_numbers(out, "direction", {map.direction_x, map.direction_y});
  if (!map.distortion.empty()) {
    emit_numbers(
        out, "distortion_centre_px", {map.distortion_centre.x_px, map.distortion_centre.y_px});
    emit_number(out, "distortion_radius_px", map.distortion_radius_px);
    emit_numbers(out, "distortion", map.distortion);
  }
  emit_numbers(out, "parameters", map.parameters);
  emit_numbers(out, "covariance", map.covariance);
  emit_number(out, "degrees_of_freedom", map.degrees_of_freedom);
  emit_number(out, "reduced_chi2", map.reduced_chi2);
  emit_number(out, "residual_rms_px", calibration::residual_rms_px(map));
  if (map.kind == MapKind::kPlane) {
    emit_number(out, "widening", map.widening);
    emit_number(out, "marker_scatter_px", map.marker_scatter_px);
  }
  if (map.print_relative_u > 0.0) emit_number(out, "print_relative_u", map.print_relative_u);
  emit_pages(out, map);
  out << YAML::Key << "note" << YAML::Value << YAML::DoubleQuoted << map.note;
  out << YAML::Key << "references" << YAML::Value << YAML::BeginSeq;
  for (const FittedReference& reference : map.references) {
    const auto& point = reference.point;
    out << YAML::Flow << YAML::BeginMap;
    emit_numbers(out, "pixel", {point.pixel.x_px, point.pixel.y_px});
    emit_numbers(out, "wall_mm", {point.wall.x_mm, point.wall.y_mm});
    emit_number(out, "u_px", point.u_px);
    if (point.marker != calibration::kNoMarker) emit_number(out, "marker", point.marker);
    if (point.page != 1) emit_number(out, "page", point.page);
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
        shell_word(path.parent_path().string())));
  }
  auto file = YamlMapping::from_file(path);
  WallMap map;
  const auto kind = map_kind_from(file.text("kind"));
  if (!kind) file.fail("kind", "is neither 'plane' nor 'line' nor 'ruler'");
  map.kind = *kind;
  const auto frame = numbers_of(file, "frame_px", 2);
  if (!(std::min(frame[0], frame[1]) >= 1.0 && std::max(frame[0], frame[1]) <= kMost)) {
    file.fail("frame_px", "are no width and height of a picture");
  }
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
  read_distortion(file, map);
  if (map.kind == MapKind::kRuler && map.distortion.empty()) {
    file.fail("kind", "is 'ruler', but there is no distortion");
  }
  const std::size_t count = parameters_of(map.kind);
  const std::size_t centre_terms = map.kind == MapKind::kPlane ? 2 : 0;
  const std::size_t lens = map.distortion.empty() ? 0 : map.distortion.size() + centre_terms;
  map.parameters = numbers_of(file, "parameters", count);
  map.covariance = numbers_of(file, "covariance", (count + lens) * (count + lens));
  map.widening = file.optional_number("widening").value_or(1.0);
  map.marker_scatter_px = file.optional_number("marker_scatter_px").value_or(0.0);
  map.print_relative_u = file.optional_number("print_relative_u").value_or(0.0);
  if (!(map.print_relative_u >= 0.0)) file.fail("print_relative_u", "is below zero");
  if (file.has("pages")) {
    for (YamlMapping& entry : file.mappings("pages")) map.pages.push_back(page_of(entry));
  }
  map.degrees_of_freedom = file.whole_number("degrees_of_freedom", 0, kMost);
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
