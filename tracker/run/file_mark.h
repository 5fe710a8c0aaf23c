#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>

namespace nightswing::tracker {

/// By which a file that has changed is known: when it was written last, and how long it is.
struct FileMark {
  std::filesystem::file_time_type written{};
  std::uintmax_t bytes = 0;
  bool operator==(const FileMark&) const = default;
};

/// As the file is now; nothing if there is none.
[[nodiscard]] std::optional<FileMark> file_mark(const std::filesystem::path& path);

}  // namespace nightswing::tracker
