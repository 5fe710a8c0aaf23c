#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "tracker/text/time_text.h"

namespace nightswing::tracker {

/// What a photograph says of its moment, and where it stands among the others.
struct PhotoStamp {
  std::string name;              ///< of the file, without the folder
  std::string series{};          ///< the name without its last number
  std::optional<long> number{};  ///< the last number in the name
  /// The camera's clock (EXIF DateTimeOriginal with SubSecTimeOriginal): UTC if `has_offset`
  /// (OffsetTimeOriginal), else the camera's local time.
  std::optional<UtcTime> camera{};
  bool has_offset = false;
  bool has_subseconds = false;
  std::optional<UtcTime> file{};  ///< when the file was last written
  int turn_deg = 0;               ///< clockwise turn that would show it upright (EXIF Orientation)
};

/// JPEG and PNG files of a folder (not of folders in it), as people count: photo9 before photo10.
/// A camera's numbers that ran over (9999, then 0001) are put in the order in which they were
/// taken, if the pictures' own clocks bear that out. Time and orientation are those of EXIF: in
/// JPEG its own segment, in PNG the chunk eXIf. throws InputError if the folder cannot be read or
/// holds no photograph.
[[nodiscard]] std::vector<PhotoStamp> list_photos(const std::filesystem::path& folder);

/// Whether `a` comes before `b` when runs of digits are compared as numbers and letters without
/// regard to case; equal ones by their bytes, so that any two different names have one order.
[[nodiscard]] bool comes_before(std::string_view a, std::string_view b);

}  // namespace nightswing::tracker
