#include <memory>
#include <optional>
#include <string>

#include <fmt/format.h>

#include "tracker/commands/argument_checks.h"
#include "tracker/commands/commands.h"
#include "tracker/frames/frame_source.h"
#include "tracker/replay.h"
#include "tracker/text/shell_word.h"
#include "tracker/watch/stop_signal.h"

namespace nightswing::tracker {
namespace {

struct ReplayArguments {
  std::string source;
  std::string run;
  std::string frame_every;
  std::string start;
  std::string bar;
  std::string end;
  std::string average;
  bool resume = false;
  bool quiet = false;
};

void print(const ReplaySummary& summary) {
  const FrameCounts& states = summary.frames_by_state;
  fmt::print("{} frames over {} ({})\n",
             summary.frames,
             duration_text(summary.last_t_s),
             summary.info.time_from);
  fmt::print("start: {}{}\n",
             summary.info.start ? iso_text(*summary.info.start) + ", " : "",
             summary.info.start_from);
  fmt::print(
      "spot: {} found, {} clipped (measured, core saturated), {} blocked, {} lost, {} dark\n",
      states.of(SpotState::kFound),
      states.of(SpotState::kClipped),
      states.of(SpotState::kBlocked),
      states.of(SpotState::kLost),
      states.of(SpotState::kDark));
  fmt::print("wall: {}\n", summary.wall);
  for (const std::string& warning : summary.warnings) fmt::print("warning: {}\n", warning);
  print_next_step(summary.run.path.string(), summary.calibrated);
}

void replay_with(const ReplayArguments& arguments) {
  ReplayRequest request{.source = arguments.source,
                        .run = arguments.run,
                        .frame_every_s = parse_duration_s(arguments.frame_every),
                        .start = parse_iso_time(arguments.start),
                        .end = parse_iso_time(arguments.end),
                        .average_s = parse_duration_s(arguments.average),
                        .resume = arguments.resume,
                        .scale = {},
                        .quiet = arguments.quiet};
  request.scale.bar_mm = bar_mm_from(arguments.bar);
  if (request.scale.bar_mm) request.scale.command = "replay --bar " + shell_word(arguments.bar);
  std::optional<StopSignal> stop_signal;
  if (is_stream(request.source)) {
    stop_signal.emplace();
    request.why_stop = &StopSignal::name;
  }
  print(replay(request));
}

void add_times_options(CLI::App& command, ReplayArguments& arguments) {
  command
      .add_option("--frame-every",
                  arguments.frame_every,
                  "real time between two frames of a time-lapse; without it the source's own clock "
                  "counts (timestamps of the file, EXIF times of photographs)")
      ->check(duration_check());
  command
      .add_option("--start",
                  arguments.start,
                  "wall-clock time of the first frame (ISO 8601); without it the file's creation "
                  "time, if it has one")
      ->check(iso_time_check());
  command
      .add_option("--end",
                  arguments.end,
                  "wall-clock time of the last frame: with --start it tells the pace of a "
                  "time-lapse instead of --frame-every")
      ->check(iso_time_check());
  command
      .add_option("--average",
                  arguments.average,
                  "one line of the track for so much time, such as 1s, at most 10s: combines the "
                  "frames of a fast camera; without it each frame has its line")
      ->check(duration_check());
}

}  // namespace

void add_replay_command(CLI::App& app) {
  auto arguments = std::make_shared<ReplayArguments>();
  CLI::App* command = app.add_subcommand(
      "replay", "track the spot through a film or photographs into a run folder");
  command
      ->add_option("source",
                   arguments->source,
                   "the film or time-lapse, a folder of photographs (JPEG, PNG), or the address of "
                   "a stream (http://...)")
      ->required();
  command->add_option("--run", arguments->run, "folder to make for this night")->required();
  add_times_options(*command, *arguments);
  add_bar_option(*command, arguments->bar);
  command->add_flag("--resume",
                    arguments->resume,
                    "go on with a run that was interrupted; give the same film and options");
  command->add_flag("--quiet", arguments->quiet, "show no progress");
  command->footer(
      "Example: nightswing replay night.mp4 --frame-every 5s --run runs/night\n"
      "Next:    nightswing analyse runs/night --apparatus my_balance.yaml");
  command->callback([arguments] { replay_with(*arguments); });
}

}  // namespace nightswing::tracker
