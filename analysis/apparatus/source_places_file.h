#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/apparatus/apparatus.h"
#include "analysis/quantities/yaml_mapping.h"

/// What an apparatus file says of where the source masses stand: `separation`, or `sides`.
namespace nightswing::analysis {

struct SourcesInFile {
  std::optional<Measured> separation_m;
  std::optional<SourceSides> sides;
};

/// throws InputError unless there is exactly one of the two, and for places that are not three
/// lengths each.
[[nodiscard]] SourcesInFile sources_in(YamlMapping& file);

/// Whether the masses have room there, and turn the boom at all; what looks wrong but may be right
/// is added to the warnings.
/// throws InputError for what cannot be.
void check_source_places(const YamlMapping& file,
                         const Apparatus& apparatus,
                         std::vector<std::string>& warnings);

}  // namespace nightswing::analysis
