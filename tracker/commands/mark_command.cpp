#include <algorithm>
#include <filesystem>
#include <memory>
#include <optional>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/camera/clock.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/commands.h"
#include "tracker/run/event_log.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/side_mark.h"
#include "tracker/run/track_file.h"

namespace nightswing::tracker {
namespace {

struct MarkArguments {
  std::string run;
  std::string side;
  std::string at;
  bool withdraw = false;
};

/// The last moment at which the sources can have been moved in this run; none where it may still
/// grow, as a film that was interrupted.
std::optional<double> last_moment_s(const RunFolder& run, const RunInfo& info) {
  const EventLog log = read_events(run.events());
  const bool has_ended = std::ranges::find(log.events, "ended", &Event::event) != log.events.end();
  const Track track = read_track(run.track());
  if (!has_ended || track.rows.empty()) return std::nullopt;
  const double last_s = track.rows.back().t_s;
  // A watch may be gone on with, and is then marked before its next picture.
  const bool goes_on = std::filesystem::exists(run.watch()) && info.start;
  return goes_on ? std::max(last_s, seconds_between(*info.start, SystemClock().utc())) : last_s;
}

void check_moment(const MarkArguments& arguments,
                  const RunFolder& run,
                  const RunInfo& info,
                  double t_s) {
  constexpr double kLongBefore_s = 86400.0;
  if (t_s < -kLongBefore_s) {
    throw InputError(fmt::format("--at {} is {} before the first frame of {}; is the date right?",
                                 arguments.at,
                                 duration_text(-t_s),
                                 run.path.string()));
  }
  const auto last_s = last_moment_s(run, info);
  if (!last_s || t_s <= *last_s) return;
  throw InputError(fmt::format(
      "--at {} is after the end of {}, which was watched for {}: a mark there would tell nothing; "
      "give the moment since its first frame",
      arguments.at,
      run.path.string(),
      duration_text(*last_s)));
}

void mark(const MarkArguments& arguments) {
  const RunFolder run = open_run_folder(arguments.run);
  const RunInfo info = read_run_info(run);
  const double t_s = moment_s(arguments.at, info.start);
  const analysis::Side side = side_from(arguments.side).value();  // the option was checked
  if (arguments.withdraw) {
    withdraw_side(run, side, t_s);
  } else {
    check_moment(arguments, run, info, t_s);
    const auto standing = side_marked_at(run, t_s);
    if (standing && *standing != side) {
      fmt::print("{} was marked at this moment before; the later mark counts\n",
                 analysis::name_of(*standing));
    }
    if (standing != side) note_side(run, side, t_s);
  }
  const auto utc = utc_at(info, t_s);
  fmt::print("{}: {} {} from {:.1f} s on{}\n",
             run.events().string(),
             arguments.withdraw ? "withdrawn: source masses at" : "source masses at",
             arguments.side,
             t_s,
             utc ? fmt::format(" ({})", iso_text(*utc)) : "");
}

}  // namespace

void add_mark_command(CLI::App& app) {
  auto arguments = std::make_shared<MarkArguments>();
  CLI::App* command =
      app.add_subcommand("mark", "note in a run when the source masses went to which side");
  command->add_option("run", arguments->run, "the run folder")->required();
  command->add_option("side", arguments->side, "plus, minus or away")
      ->required()
      ->check(CLI::IsMember({"plus", "minus", "away"}));
  command
      ->add_option(
          "--at",
          arguments->at,
          "moment: 2h5m after the first frame, or an ISO 8601 time (UTC unless it names an offset)")
      ->required();
  command->add_flag(
      "--withdraw", arguments->withdraw, "the mark of this side and moment was wrong");
  command->footer(
      "Example: nightswing mark runs/night plus --at 0s\n"
      "         nightswing mark runs/night minus --at 2h5m\n"
      "         nightswing mark runs/night minus --at 2h5m --withdraw\n"
      "Next:    nightswing analyse runs/night --apparatus my_balance.yaml");
  command->callback([arguments] { mark(*arguments); });
}

}  // namespace nightswing::tracker
