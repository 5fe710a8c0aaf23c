#include "analysis/quantities/yaml_mapping.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <numeric>
#include <optional>
#include <sstream>
#include <utility>

#include <fmt/format.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/yaml.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::analysis {
namespace {

// yaml-cpp counts lines from 0 and gives -1 where it knows none.
int line_of(const YAML::Mark& mark) {
  return std::max(mark.line, 0) + 1;
}

std::string_view kind_of(const YAML::Node& node) {
  switch (node.Type()) {
    case YAML::NodeType::Scalar:
      return "a single value";
    case YAML::NodeType::Sequence:
      return "a list";
    case YAML::NodeType::Map:
      return "a mapping";
    case YAML::NodeType::Null:
    case YAML::NodeType::Undefined:
      break;
  }
  return "empty";
}

// Levenshtein's distance: how many letters to insert, remove or change.
std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = std::exchange(row[0], i + 1);
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t changed = diagonal + (a[i] == b[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({changed, row[j] + 1, diagonal + 1});
    }
  }
  return row.back();
}

// The known key that differs by at most two letters and by less than half of its own.
std::optional<std::string> nearest(std::string_view key, const std::vector<std::string>& known) {
  const auto best =
      std::ranges::min_element(known, {}, [key](const auto& k) { return edit_distance(key, k); });
  if (best == known.end()) return std::nullopt;
  const std::size_t distance = edit_distance(key, *best);
  if (distance > 2 || 2 * distance >= best->size()) return std::nullopt;
  return *best;
}

// What the parser's words hide from somebody who does not know it.
std::string syntax_complaint(const std::string& text, const YAML::Exception& error) {
  int line = 1;
  std::istringstream lines(text);
  for (std::string content; std::getline(lines, content); ++line) {
    const std::size_t first = content.find_first_not_of(" \t");
    if (first == std::string::npos || content.substr(0, first).find('\t') == std::string::npos) {
      continue;
    }
    return fmt::format("{}: the line is indented with a tab; use blanks", line);
  }
  return fmt::format(
      "{}: not valid YAML: {}; check indentation, colons and brackets here and above",
      line_of(error.mark),
      error.msg);
}

/// Hears where the content of each document begins and nothing else.
class DocumentStarts : public YAML::EventHandler {
 public:
  void OnDocumentStart(const YAML::Mark&) override { begins_ = true; }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t) override { note(mark); }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override { note(mark); }
  void OnScalar(const YAML::Mark& mark,
                const std::string&,
                YAML::anchor_t,
                const std::string&) override {
    note(mark);
  }
  void OnSequenceStart(const YAML::Mark& mark,
                       const std::string&,
                       YAML::anchor_t,
                       YAML::EmitterStyle::value) override {
    note(mark);
  }
  void OnSequenceEnd() override {}
  void OnMapStart(const YAML::Mark& mark,
                  const std::string&,
                  YAML::anchor_t,
                  YAML::EmitterStyle::value) override {
    note(mark);
  }
  void OnMapEnd() override {}

  [[nodiscard]] const YAML::Mark& last() const { return last_; }

 private:
  void note(const YAML::Mark& mark) {
    if (begins_) last_ = mark;
    begins_ = false;
  }

  bool begins_ = false;
  YAML::Mark last_;
};

/// Where a second document begins, if there is one. YAML::LoadAll goes round for ever on some text
/// that is none, such as a tag with bytes that are not UTF-8 (yaml-cpp 0.7; found by fuzzing).
std::optional<YAML::Mark> second_document(const std::string& text) {
  std::istringstream stream(text);
  YAML::Parser parser(stream);
  DocumentStarts starts;
  if (!parser.HandleNextDocument(starts) || !parser.HandleNextDocument(starts)) return std::nullopt;
  return starts.last();
}

}  // namespace

YamlMapping YamlMapping::from_file(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream content;
  if (file) content << file.rdbuf();
  std::error_code none;
  if (!std::filesystem::exists(path, none)) {
    throw InputError(fmt::format("there is no file {}; look where it lies and how it is written",
                                 path.string()));
  }
  if (std::filesystem::is_directory(path, none)) {
    throw InputError(fmt::format("{} is a folder; name the file in it", path.string()));
  }
  // An empty file leaves only failbit in `content`.
  if (!file)
    throw InputError(fmt::format("{} may not be read; look at its permissions", path.string()));
  return from_text(content.str(), path.string());
}

YamlMapping YamlMapping::from_text(const std::string& text, std::string file_name) {
  YAML::Node document;
  try {
    if (const auto second = second_document(text)) {
      throw InputError(fmt::format(
          "{}:{}: a second document begins here; keep one in a file", file_name, line_of(*second)));
    }
    document = YAML::Load(text);
  } catch (const YAML::Exception& error) {
    throw InputError(fmt::format("{}:{}", file_name, syntax_complaint(text, error)));
  }
  if (!document.IsDefined() || document.IsNull()) {
    throw InputError(fmt::format("{}: the file is empty", file_name));
  }
  const int line = line_of(document.Mark());
  return {document, std::move(file_name), "", line};
}

YamlMapping::YamlMapping(const YAML::Node& node, std::string file_name, std::string name, int line)
    : file_name_(std::move(file_name)), name_(std::move(name)), line_(line) {
  if (!node.IsMap()) {
    throw InputError(
        fmt::format("{}:{}: {} must be a mapping of the form {{key: value}}, but is {}",
                    file_name_,
                    line_,
                    name_.empty() ? "the file" : name_,
                    kind_of(node)));
  }
  for (const auto& pair : node) {
    const int key_line = line_of(pair.first.Mark());
    if (!pair.first.IsScalar()) {
      throw InputError(fmt::format("{}:{}: a key must be a single word, but is {}",
                                   file_name_,
                                   key_line,
                                   kind_of(pair.first)));
    }
    const std::string key = pair.first.Scalar();
    if (const Entry* earlier = find(key)) {
      throw InputError(fmt::format("{}:{}: {} stands here for the second time (first in line {})",
                                   file_name_,
                                   key_line,
                                   full_name(key),
                                   earlier->line));
    }
    entries_.push_back({key, key_line, pair.second});
  }
}

bool YamlMapping::has(std::string_view key) const {
  return find(key) != nullptr;
}

std::string YamlMapping::text(std::string_view key) {
  return scalar(take_required(key));
}

std::optional<std::string> YamlMapping::optional_text(std::string_view key) {
  const Entry* entry = take(key);
  if (entry == nullptr) return std::nullopt;
  return scalar(*entry);
}

double YamlMapping::number(std::string_view key) {
  return as_number(key, text(key));
}

std::optional<double> YamlMapping::optional_number(std::string_view key) {
  const auto written = optional_text(key);
  if (!written) return std::nullopt;
  return as_number(key, *written);
}

int YamlMapping::whole_number(std::string_view key, int least, int most) {
  const double value = number(key);
  if (!(value >= least && value <= most) || value != std::floor(value)) {
    fail(key, fmt::format("is no whole number from {} to {}", least, most));
  }
  return static_cast<int>(value);
}

Measured YamlMapping::quantity(std::string_view key, Dimension dimension) {
  return as_quantity(key, text(key), dimension);
}

std::optional<Measured> YamlMapping::optional_quantity(std::string_view key, Dimension dimension) {
  const auto written = optional_text(key);
  if (!written) return std::nullopt;
  return as_quantity(key, *written, dimension);
}

Measured YamlMapping::positive_quantity(std::string_view key, Dimension dimension) {
  const Measured read = quantity(key, dimension);
  if (!(read.value > 0)) fail(key, fmt::format("must be above zero, but is '{}'", text(key)));
  return read;
}

YamlMapping YamlMapping::mapping(std::string_view key) {
  const Entry& entry = take_required(key);
  return nested(key, entry.value, entry.line);
}

std::optional<YamlMapping> YamlMapping::optional_mapping(std::string_view key) {
  const Entry* entry = take(key);
  if (entry == nullptr) return std::nullopt;
  return nested(key, entry->value, entry->line);
}

std::vector<std::string> YamlMapping::texts(std::string_view key) {
  std::vector<std::string> items;
  for (const YAML::Node& item : list(key)) {
    if (!item.IsScalar()) fail(key, "must be a list of single values");
    items.push_back(item.Scalar());
  }
  return items;
}

std::vector<double> YamlMapping::numbers(std::string_view key) {
  std::vector<double> items;
  for (const std::string& written : texts(key)) items.push_back(as_number(key, written));
  return items;
}

std::vector<Measured> YamlMapping::quantities(std::string_view key, Dimension dimension) {
  std::vector<Measured> items;
  for (const std::string& written : texts(key)) {
    items.push_back(as_quantity(key, written, dimension));
  }
  return items;
}

std::vector<YamlMapping> YamlMapping::mappings(std::string_view key) {
  std::vector<YamlMapping> items;
  for (const YAML::Node& item : list(key)) {
    const std::string numbered = fmt::format("{}[{}]", key, items.size());
    items.push_back(nested(numbered, item, line_of(item.Mark())));
  }
  return items;
}

std::array<Measured, 3> YamlMapping::three_lengths(std::string_view key, std::string_view which) {
  const auto items = quantities(key, Dimension::kLength);
  if (items.size() == 3) return {items[0], items[1], items[2]};
  fail(key, fmt::format("must be three lengths, {}, but has {}", which, items.size()));
}

void YamlMapping::finish() const {
  for (const Entry& entry : entries_) {
    if (std::ranges::find(known_, entry.key) != known_.end()) continue;
    const std::string place = name_.empty() ? "" : " in " + name_;
    const auto meant = nearest(entry.key, known_);
    throw InputError(fmt::format("{}:{}: unknown key '{}'{}{}; known here: {}",
                                 file_name_,
                                 entry.line,
                                 entry.key,
                                 place,
                                 meant ? fmt::format(", perhaps '{}' is meant", *meant) : "",
                                 fmt::join(known_, ", ")));
  }
}

void YamlMapping::fail(std::string_view key, std::string_view complaint) const {
  throw InputError(fmt::format("{} {}", where(key), complaint));
}

std::string YamlMapping::where(std::string_view key) const {
  const Entry* entry = find(key);
  const int line = entry == nullptr ? line_ : entry->line;
  return fmt::format("{}:{}: {}", file_name_, line, full_name(key));
}

const YamlMapping::Entry* YamlMapping::find(std::string_view key) const {
  const auto entry = std::ranges::find(entries_, key, &Entry::key);
  return entry == entries_.end() ? nullptr : &*entry;
}

const YamlMapping::Entry* YamlMapping::take(std::string_view key) {
  if (std::ranges::find(known_, key) == known_.end()) known_.emplace_back(key);
  return find(key);
}

const YamlMapping::Entry& YamlMapping::take_required(std::string_view key) {
  const Entry* entry = take(key);
  if (entry == nullptr) {
    std::vector<std::string> others;
    for (const Entry& other : entries_) {
      if (std::ranges::find(known_, other.key) == known_.end()) others.push_back(other.key);
    }
    const auto mistyped = nearest(key, others);
    throw InputError(fmt::format(
        "{}:{}: the key '{}' is missing{}{}",
        file_name_,
        line_,
        key,
        name_.empty() ? "" : " in " + name_,
        mistyped
            ? fmt::format("; is '{}' in line {} meant for it?", *mistyped, find(*mistyped)->line)
            : ""));
  }
  return *entry;
}

std::string YamlMapping::full_name(std::string_view key) const {
  return name_.empty() ? std::string(key) : fmt::format("{}.{}", name_, key);
}

std::string YamlMapping::scalar(const Entry& entry) const {
  if (entry.value.IsNull()) fail(entry.key, "has no value");
  if (!entry.value.IsScalar()) {
    fail(entry.key, fmt::format("must be a single value, but is {}", kind_of(entry.value)));
  }
  return entry.value.Scalar();
}

double YamlMapping::as_number(std::string_view key, const std::string& written) const {
  const auto value = parse_number(written);
  if (!value) fail(key, fmt::format("must be a number with a decimal point, but is '{}'", written));
  return *value;
}

Measured YamlMapping::as_quantity(std::string_view key,
                                  const std::string& written,
                                  Dimension dimension) const {
  try {
    return parse_quantity(written, dimension);
  } catch (const QuantityError& error) {
    fail(key, error.what());
  }
}

YamlMapping YamlMapping::nested(std::string_view key, const YAML::Node& node, int line) const {
  return {node, file_name_, full_name(key), line};
}

const YAML::Node& YamlMapping::list(std::string_view key) {
  const Entry& entry = take_required(key);
  if (!entry.value.IsSequence()) {
    fail(key, fmt::format("must be a list such as [a, b], but is {}", kind_of(entry.value)));
  }
  return entry.value;
}

}  // namespace nightswing::analysis
