#include "tracker/run/run_folder.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>

#include <fmt/format.h>
#include <yaml-cpp/yaml.h>

#include "analysis/quantities/input_error.h"
#include "analysis/quantities/yaml_mapping.h"
#include "tracker/run/line_file.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

constexpr int kMostSide_px = 100'000;

/// What systems put on an empty disk by themselves.
bool is_of_a_new_disk(const std::string& name) {
  return name.starts_with('.') || name == "lost+found" || name == "System Volume Information";
}

/// What is left of a run that was killed before it had begun.
bool is_of_a_begin(const RunFolder& run, const std::filesystem::path& entry) {
  std::error_code none;
  if (entry == run.frames()) return std::filesystem::is_empty(entry, none);
  return entry == run.run_yaml().string() + ".new";  // write_whole_file
}

/// A run scattered over somebody's other files is hard to gather again.
void check_is_no_other_folder(const RunFolder& run) {
  for (const auto& own : {run.run_yaml(),
                          run.track(),
                          run.events(),
                          run.wall(),
                          run.first_frame(),
                          run.apparatus()}) {
    if (std::filesystem::exists(own)) return;
  }
  std::error_code none;
  std::string held;
  for (const auto& entry : std::filesystem::directory_iterator(run.path, none)) {
    const std::string name = entry.path().filename().string();
    if (!is_of_a_new_disk(name) && !is_of_a_begin(run, entry.path())) held = name;
  }
  if (held.empty()) return;  // not there yet, or empty
  throw InputError(
      fmt::format("{} is a folder of something else (it holds {} and nothing of a run); give --run "
                  "a folder of its own, which need not be there yet",
                  run.path.string(),
                  held));
}

}  // namespace

RunFolder create_run_folder(const std::filesystem::path& path) {
  if (std::filesystem::exists(RunFolder{path}.track())) {
    throw InputError(
        fmt::format("{} holds a track already; give --run another folder, or go on with a track "
                    "that was interrupted with --resume",
                    path.string()));
  }
  return resume_run_folder(path);
}

RunFolder run_folder_at(const std::filesystem::path& path) {
  // A shell variable that is not set would else scatter a run over the folder one stands in.
  if (path.empty()) throw UsageError("--run is empty; name a folder for this night");
  RunFolder run{path};
  check_is_no_other_folder(run);
  return run;
}

RunFolder resume_run_folder(const std::filesystem::path& path) {
  RunFolder run = run_folder_at(path);
  std::error_code failed;
  std::filesystem::create_directories(run.frames(), failed);
  if (failed) {
    throw InputError(
        fmt::format("cannot make the run folder {}: {}", path.string(), failed.message()));
  }
  return run;
}

RunLock::RunLock(const RunFolder& run)
    : descriptor_(::open(run.path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)) {
  // A file system that knows no locks is no reason not to measure.
  if (descriptor_ < 0 || ::flock(descriptor_, LOCK_EX | LOCK_NB) == 0 || errno != EWOULDBLOCK) {
    return;
  }
  ::close(descriptor_);
  throw InputError(
      fmt::format("another program is still tracking into {}; wait until it has ended, or stop it",
                  run.path.string()));
}

RunLock::~RunLock() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

RunFolder open_run_folder(const std::filesystem::path& path) {
  RunFolder run{path};
  if (!std::filesystem::exists(run.run_yaml())) {
    throw InputError(
        fmt::format("{} is no run folder (it has no run.yaml); make one with 'nightswing replay "
                    "VIDEO --run {}'",
                    path.string(),
                    path.string()));
  }
  return run;
}

void write_run_info(const RunFolder& run, const RunInfo& info) {
  YAML::Emitter out;
  out << YAML::BeginMap;
  out << YAML::Key << "program" << YAML::Value << info.program;
  out << YAML::Key << "source" << YAML::Value << info.source;
  out << YAML::Key << "frame_width_px" << YAML::Value << info.frame_width_px;
  out << YAML::Key << "frame_height_px" << YAML::Value << info.frame_height_px;
  out << YAML::Key << "rotation_deg" << YAML::Value << info.rotation_deg;
  out << YAML::Key << "time_from" << YAML::Value << info.time_from;
  if (info.start) out << YAML::Key << "start" << YAML::Value << iso_text(*info.start);
  out << YAML::Key << "start_from" << YAML::Value << info.start_from;
  out << YAML::EndMap;
  write_whole_file(run.run_yaml(), std::string(out.c_str()) + '\n');
}

std::optional<UtcTime> utc_at(const RunInfo& info, double t_s) {
  if (!info.start) return std::nullopt;
  return after(*info.start, t_s);
}

RunInfo read_run_info(const RunFolder& run) {
  auto file = analysis::YamlMapping::from_file(run.run_yaml());
  RunInfo info;
  info.program = file.text("program");
  info.source = file.text("source");
  info.frame_width_px = file.whole_number("frame_width_px", 1, kMostSide_px);
  info.frame_height_px = file.whole_number("frame_height_px", 1, kMostSide_px);
  info.rotation_deg = file.number("rotation_deg");
  info.time_from = file.text("time_from");
  if (const auto start = file.optional_text("start")) {
    info.start = parse_iso_time(*start);
    if (!info.start) file.fail("start", "is no ISO 8601 time such as 2026-03-14T21:30:00Z");
  }
  info.start_from = file.text("start_from");
  file.finish();
  return info;
}

}  // namespace nightswing::tracker
