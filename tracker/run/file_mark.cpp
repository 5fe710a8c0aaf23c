#include "tracker/run/file_mark.h"

#include <system_error>

namespace nightswing::tracker {

std::optional<FileMark> file_mark(const std::filesystem::path& path) {
  std::error_code fault;
  const auto written = std::filesystem::last_write_time(path, fault);
  if (fault) return std::nullopt;
  const auto bytes = std::filesystem::file_size(path, fault);
  if (fault) return std::nullopt;
  return FileMark{written, bytes};
}

}  // namespace nightswing::tracker
