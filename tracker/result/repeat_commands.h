#pragma once

#include <string>
#include <vector>

#include "tracker/result/result_file.h"

namespace nightswing::tracker {

/// The commands that give this result again, in a folder beside the run and with the copy of the
/// apparatus file that lies in the run. What a live camera or a stream sent is gone: then they
/// begin with the track of the run itself, and the first line says so.
///   analyse_options  of the analysis, but for the apparatus: ` --settle 60s`
[[nodiscard]] std::vector<std::string> repeat_commands(const ResultSource& source,
                                                       const std::string& analyse_options);

}  // namespace nightswing::tracker
