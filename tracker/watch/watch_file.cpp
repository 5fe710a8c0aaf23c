#include "tracker/watch/watch_file.h"

#include <fmt/format.h>
#include <yaml-cpp/yaml.h>

#include "analysis/quantities/yaml_mapping.h"
#include "tracker/run/line_file.h"

namespace nightswing::tracker {

void write_watch_file(const std::filesystem::path& path, const WatchFile& file) {
  YAML::Emitter out;
  out << YAML::BeginMap;
  out << YAML::Key << "camera" << YAML::Value << file.camera;
  out << YAML::Key << "every" << YAML::Value << file.every;
  if (!file.scale.empty()) out << YAML::Key << "scale" << YAML::Value << file.scale;
  out << YAML::Key << "boot" << YAML::Value << YAML::DoubleQuoted << file.boot;
  out << YAML::Key << "steady_at_start_s" << YAML::Value
      << fmt::format("{:.6f}", file.steady_at_start_s);
  if (!file.end.empty()) out << YAML::Key << "end" << YAML::Value << file.end;
  if (file.end_utc) out << YAML::Key << "end_utc" << YAML::Value << iso_text(*file.end_utc);
  out << YAML::EndMap;
  write_whole_file(path, std::string(out.c_str()) + '\n');
}

WatchFile read_watch_file(const std::filesystem::path& path) {
  auto yaml = analysis::YamlMapping::from_file(path);
  WatchFile file;
  file.camera = yaml.text("camera");
  file.every = yaml.text("every");
  file.scale = yaml.optional_text("scale").value_or("");
  file.boot = yaml.text("boot");
  file.steady_at_start_s = yaml.number("steady_at_start_s");
  file.end = yaml.optional_text("end").value_or("");
  if (const auto end = yaml.optional_text("end_utc")) {
    file.end_utc = parse_iso_time(*end);
    if (!file.end_utc) yaml.fail("end_utc", "is no ISO 8601 time such as 2026-03-14T21:30:00Z");
  }
  yaml.finish();
  return file;
}

}  // namespace nightswing::tracker
