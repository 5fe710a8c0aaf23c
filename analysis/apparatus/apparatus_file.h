#pragma once

#include <filesystem>
#include <string>

#include "analysis/apparatus/apparatus.h"

namespace nightswing::analysis {

/// Reads an apparatus file, YAML as in configs/basement.yaml: title, source_masses, test_masses,
/// boom, separation or sides, optical_lever, and optionally wire and scale.
/// What may be left out is replaced as `assumptions` says, one sentence each; what looks wrong but
/// may be right (a density that does not fit the material, iron) stands in `warnings`.
/// throws  InputError with file, line and key: for a key that is unknown, missing or twice there,
///         for another dimension, for a value that no balance can have
[[nodiscard]] Apparatus read_apparatus_file(const std::filesystem::path& path);

/// The same for a text; `file_name` is what complaints call it.
[[nodiscard]] Apparatus read_apparatus_text(const std::string& text, std::string file_name);

}  // namespace nightswing::analysis
