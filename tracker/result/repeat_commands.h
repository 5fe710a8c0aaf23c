#pragma once

#include <string>
#include <vector>

#include "tracker/result/result_file.h"

/// How a result can be had again: what the log keeps for that, and the commands it comes to.
namespace nightswing::tracker {

/// Detail of a `calibrated` event: what the map is, and by which command it came to be.
///   command  its name and those options that say something of the scale, such as
///            `calibrate --point 212,388.5=120mm`; empty: the scale was read without a word
[[nodiscard]] std::string calibrated_text(const std::string& map, const std::string& command);

/// The command in such a detail; empty if there is none.
[[nodiscard]] std::string calibrating_command(const std::string& detail);

/// The commands that give this result again, in a folder beside the run and with the copy of the
/// apparatus file that lies in the run. What a live camera or a stream sent is gone: then they
/// begin with the track of the run itself, and the first line says so.
///   analyse_options  of the analysis, but for the apparatus: ` --settle 60s`
[[nodiscard]] std::vector<std::string> repeat_commands(const ResultSource& source,
                                                       const std::string& analyse_options);

}  // namespace nightswing::tracker
