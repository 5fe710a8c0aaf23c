#pragma once

#include <filesystem>
#include <string>

#include "tests/support/temporary_folder.h"

namespace nightswing::test {

/// Has the ffmpeg program, which is the outside here, make a film of one of its own sources (lavfi,
/// such as `testsrc=size=64x48:rate=10:duration=2`) with these options.
/// throws std::runtime_error with ffmpeg's complaint.
[[nodiscard]] std::filesystem::path ffmpeg_film(const TemporaryFolder& folder,
                                                const std::string& name,
                                                const std::string& source,
                                                const std::string& encoding);

}  // namespace nightswing::test
