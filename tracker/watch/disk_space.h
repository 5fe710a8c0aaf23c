#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

namespace nightswing::tracker {

/// What there is still room for on the disk of a run. The track itself has its room set aside.
enum class DiskRoom {
  kEverything,
  kNoVideo,     ///< less than 500 MB, or than a twentieth of a small disk
  kNoPictures,  ///< less than 200 MB, or than a fiftieth: no evidence frames either
};

struct DiskSpace {
  std::uint64_t free_bytes = 0;  ///< for users without privileges
  std::uint64_t size_bytes = 0;
};

/// Of the disk that the folder is on; nothing if the system does not say.
[[nodiscard]] std::optional<DiskSpace> disk_space(const std::filesystem::path& folder);

[[nodiscard]] DiskRoom room_on(const DiskSpace& disk);

/// `4.2 GB`, `310 MB`: decimal units, as disks are sold.
[[nodiscard]] std::string size_text(std::uint64_t bytes);

/// `2GB`, `500MB`, `1.5 GB`; bytes. Nothing if the text is not of this form.
[[nodiscard]] std::optional<std::uint64_t> parse_size(const std::string& text);

}  // namespace nightswing::tracker
