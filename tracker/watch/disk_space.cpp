#include "tracker/watch/disk_space.h"

#include <sys/statvfs.h>

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "analysis/quantities/quantity.h"

namespace nightswing::tracker {
namespace {

constexpr std::uint64_t kMega = 1'000'000;
constexpr std::uint64_t kForVideo = 500 * kMega;
constexpr std::uint64_t kForPictures = 200 * kMega;

}  // namespace

std::optional<DiskSpace> disk_space(const std::filesystem::path& folder) {
  struct statvfs about {};
  if (::statvfs(folder.c_str(), &about) != 0) return std::nullopt;
  return DiskSpace{.free_bytes = std::uint64_t{about.f_bavail} * about.f_frsize,
                   .size_bytes = std::uint64_t{about.f_blocks} * about.f_frsize};
}

DiskRoom room_on(const DiskSpace& disk) {
  if (disk.free_bytes < std::min(kForPictures, disk.size_bytes / 50)) return DiskRoom::kNoPictures;
  if (disk.free_bytes < std::min(kForVideo, disk.size_bytes / 20)) return DiskRoom::kNoVideo;
  return DiskRoom::kEverything;
}

std::string size_text(std::uint64_t bytes) {
  const double mega = static_cast<double>(bytes) / static_cast<double>(kMega);
  if (mega < 1.0) return fmt::format("{:.0f} kB", 1e3 * mega);
  if (mega < 1000.0) return fmt::format("{:.0f} MB", mega);
  return fmt::format("{:.1f} GB", 1e-3 * mega);
}

std::optional<std::uint64_t> parse_size(const std::string& text) {
  for (const auto& [unit, bytes] : {std::pair{"GB", 1e9}, {"MB", 1e6}}) {
    if (!text.ends_with(unit)) continue;
    std::string number = text.substr(0, text.size() - 2);
    if (number.ends_with(' ')) number.pop_back();
    const auto value = analysis::parse_number(number);
    if (!value || *value <= 0.0 || *value > 1e6) return std::nullopt;
    return static_cast<std::uint64_t>(std::llround(*value * bytes));
  }
  return std::nullopt;
}

}  // namespace nightswing::tracker
