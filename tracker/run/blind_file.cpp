#include "tracker/run/blind_file.h"

#include <filesystem>
#include <random>

#include <fmt/format.h>

#include "analysis/quantities/yaml_mapping.h"
#include "tracker/run/line_file.h"

namespace nightswing::tracker {
namespace {

std::filesystem::path path_of(const RunFolder& run) {
  return run.path / "blind.yaml";
}

}  // namespace

std::optional<double> read_blind_factor(const RunFolder& run) {
  if (!std::filesystem::exists(path_of(run))) return std::nullopt;
  auto file = analysis::YamlMapping::from_file(path_of(run));
  const double factor = file.number("hidden_factor");
  file.finish();
  if (!(factor > 0.5 && factor < 2.0)) file.fail("hidden_factor", "is not one that was drawn here");
  return factor;
}

void make_blind(const RunFolder& run) {
  if (std::filesystem::exists(path_of(run))) return;
  std::random_device source;
  const double factor = std::uniform_real_distribution<double>(0.9, 1.1)(source);
  write_whole_file(path_of(run),
                   fmt::format("# Do not look: nightswing analyse RUN --open takes it off.\n"
                               "hidden_factor: {:.17g}\n",
                               factor));
}

void open_blind(const RunFolder& run) {
  std::filesystem::remove(path_of(run));
}

}  // namespace nightswing::tracker
