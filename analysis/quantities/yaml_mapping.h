#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <yaml-cpp/yaml.h>

#include "analysis/quantities/measured.h"
#include "analysis/quantities/quantity.h"

namespace nightswing::analysis {

/// One `key: value` mapping of a YAML file, read strictly: every key must be asked for, none may
/// stand twice, and every complaint names file, line and key. Use:
///   auto file = YamlMapping::from_file("configs/basement.yaml");
///   const Measured separation_m = file.quantity("separation", Dimension::kLength);
///   auto boom = file.mapping("boom");
///   ...
///   boom.finish();
///   file.finish();
/// All functions throw InputError for a fault in the file; `key` is quoted with the names of the
/// mappings round it, "boom.rod.length". Asking for a key, found or not, makes it a known one.
class YamlMapping {
 public:
  /// Reads a file that holds one mapping. Syntax errors, an unreadable file and duplicate keys are
  /// InputErrors.
  [[nodiscard]] static YamlMapping from_file(const std::filesystem::path& path);

  /// The same for a text; `file_name` is what complaints call it.
  [[nodiscard]] static YamlMapping from_text(const std::string& text, std::string file_name);

  [[nodiscard]] bool has(std::string_view key) const;

  /// A single value as written. The plain form throws when the key is missing.
  [[nodiscard]] std::string text(std::string_view key);
  [[nodiscard]] std::optional<std::string> optional_text(std::string_view key);

  /// A number without unit or uncertainty.
  [[nodiscard]] double number(std::string_view key);
  [[nodiscard]] std::optional<double> optional_number(std::string_view key);

  /// A whole number from `least` to `most`.
  [[nodiscard]] int whole_number(std::string_view key, int least, int most);

  /// A quantity in SI units, see quantity.h.
  [[nodiscard]] Measured quantity(std::string_view key, Dimension dimension);
  [[nodiscard]] std::optional<Measured> optional_quantity(std::string_view key,
                                                          Dimension dimension);
  /// Throws unless its value is above zero.
  [[nodiscard]] Measured positive_quantity(std::string_view key, Dimension dimension);

  /// A mapping inside this one; call finish() on it too.
  [[nodiscard]] YamlMapping mapping(std::string_view key);
  [[nodiscard]] std::optional<YamlMapping> optional_mapping(std::string_view key);

  /// Lists: `[a, b]` or one `- a` a line. They may be empty.
  [[nodiscard]] std::vector<std::string> texts(std::string_view key);
  [[nodiscard]] std::vector<double> numbers(std::string_view key);
  [[nodiscard]] std::vector<Measured> quantities(std::string_view key, Dimension dimension);
  [[nodiscard]] std::vector<YamlMapping> mappings(std::string_view key);
  /// `which` says in complaints what the lengths are: "must be three lengths, <which>, but has 2".
  [[nodiscard]] std::array<Measured, 3> three_lengths(std::string_view key, std::string_view which);

  /// Throws if a key was never asked for: it is misspelt or belongs elsewhere.
  void finish() const;

  /// Throws InputError "<file>:<line of the key>: <name of the key> <complaint>".
  [[noreturn]] void fail(std::string_view key, std::string_view complaint) const;

  /// "<file>:<line of the key>: <name of the key>", to start a warning with.
  [[nodiscard]] std::string where(std::string_view key) const;

 private:
  struct Entry {
    std::string key;
    int line;
    YAML::Node value;
  };

  YamlMapping(const YAML::Node& node, std::string file_name, std::string name, int line);

  [[nodiscard]] const Entry* find(std::string_view key) const;
  const Entry* take(std::string_view key);
  const Entry& take_required(std::string_view key);
  [[nodiscard]] std::string full_name(std::string_view key) const;
  [[nodiscard]] std::string scalar(const Entry& entry) const;
  [[nodiscard]] double as_number(std::string_view key, const std::string& written) const;
  [[nodiscard]] Measured as_quantity(std::string_view key,
                                     const std::string& written,
                                     Dimension dimension) const;
  [[nodiscard]] YamlMapping nested(std::string_view key, const YAML::Node& node, int line) const;
  const YAML::Node& list(std::string_view key);

  std::string file_name_;
  std::string name_;  // "boom.rod"; empty for the whole file
  int line_;
  std::vector<Entry> entries_;
  std::vector<std::string> known_;
};

}  // namespace nightswing::analysis
