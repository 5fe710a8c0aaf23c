#include "tracker/result/repeat_commands.h"

#include <filesystem>

#include <fmt/format.h>

#include "tracker/frames/frame_source.h"
#include "tracker/run/event_log.h"
#include "tracker/text/pace_text.h"
#include "tracker/text/shell_word.h"

namespace nightswing::tracker {
namespace {

/// `runs/night` gives `runs/night-again`.
std::string folder_beside(const RunFolder& run) {
  std::string text = run.path.lexically_normal().string();
  if (text.ends_with('/')) text.pop_back();
  return text + "-again";
}

/// The commands that last calibrated by hand, and that read the scale when the run was made; a
/// reading of the run never takes the place of a map by hand.
struct Calibrating {
  std::string by_hand{};
  std::string of_run{};
};

Calibrating calibrating(const RunFolder& run) {
  Calibrating found;
  for (const Event& event : read_events(run.events()).events) {
    if (event.event != "calibrated") continue;
    const std::string command = calibrating_command(event.detail);
    if (command.starts_with("calibrate")) found.by_hand = command;
    if (command.starts_with("replay")) found.of_run = command;
  }
  return found;
}

/// What follows the first word of a command.
std::string options_of(const std::string& command) {
  const std::size_t space = command.find(' ');
  return space == std::string::npos ? "" : command.substr(space);
}

std::string replay_command(const RunInfo& info, const std::string& scale_options) {
  std::string text = "nightswing replay " + shell_word(info.source);
  if (const auto every_s = frame_every_s(info.time_from))
    text += fmt::format(" --frame-every {}s", *every_s);
  if (info.start && info.start_from == kStartFromOption) {
    text += " --start " + iso_text(*info.start);
    if (const auto whole = whole_s(info.time_from))
      text += " --end " + iso_text(after(*info.start, *whole));
  }
  if (const auto window_s = average_s(info.time_from))
    text += fmt::format(" --average {}s", *window_s);
  return text + scale_options;
}

/// As --at takes it: a moment before the first frame has no time since then.
std::string moment_text(const RunInfo& info, double t_s) {
  return t_s < 0.0 && info.start ? iso_text(after(*info.start, t_s)) : fmt::format("{}s", t_s);
}

}  // namespace

std::vector<std::string> repeat_commands(const ResultSource& source,
                                         const std::string& analyse_options) {
  const RunFolder& run = source.run;
  const RunInfo& info = source.night.info;
  const bool is_gone = std::filesystem::exists(run.watch()) || is_stream(info.source);
  const Calibrating calibrated = calibrating(run);
  const std::string here = shell_word(is_gone ? run.path.string() : folder_beside(run));
  std::vector<std::string> commands;
  if (is_gone) {
    commands.push_back("# the pictures are gone: this begins with " + run.track().string());
  } else {
    commands.push_back(replay_command(info, options_of(calibrated.of_run)) + " --run " + here);
  }
  if (!calibrated.by_hand.empty()) {
    commands.push_back("nightswing calibrate " + here + options_of(calibrated.by_hand));
  }
  if (analyse_options.find(" --side ") == std::string::npos) {
    for (const analysis::SideChange& change : source.night.night.sides) {
      commands.push_back(fmt::format("nightswing mark {} {} --at {}",
                                     here,
                                     name_of(change.side),
                                     moment_text(info, change.t_s)));
    }
  }
  commands.push_back(fmt::format("nightswing analyse {} --apparatus {}{}",
                                 here,
                                 shell_word(run.apparatus().string()),
                                 analyse_options));
  return commands;
}

}  // namespace nightswing::tracker
