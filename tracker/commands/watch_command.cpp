#include <memory>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/camera/open_camera.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/camera_options.h"
#include "tracker/commands/commands.h"
#include "tracker/commands/page_options.h"
#include "tracker/night_tracking.h"
#include "tracker/page/watch_page.h"
#include "tracker/text/say.h"
#include "tracker/text/usage_error.h"
#include "tracker/watch/disk_space.h"
#include "tracker/watch/stop_signal.h"
#include "tracker/watch/watch.h"
#include "tracker/watch/watch_terminal.h"

namespace nightswing::tracker {
namespace {

struct WatchArguments {
  CameraArguments camera;
  std::string run;
  std::string length;
  std::string until;
  std::string every = "1s";
  std::string bar;
  std::string video;
  std::string target = "1%";
  PageArguments page;
  bool quiet = false;
};

WatchRequest request_from(const WatchArguments& arguments, const Clock& clock) {
  WatchRequest request{.run = arguments.run,
                       .every_s = parse_duration_s(arguments.every).value_or(0.0),
                       .every = arguments.every,
                       .scale_text = arguments.bar,
                       .target_relative = target_share(arguments.target)};
  if (request.every_s > kMostAverage_s) {
    throw UsageError(fmt::format("--every {}: at most {} s, or the swing itself is averaged out",
                                 arguments.every,
                                 kMostAverage_s));
  }
  if (!arguments.length.empty()) {
    request.for_s = parse_duration_s(arguments.length);
    request.end = "--for " + arguments.length;
  }
  if (!arguments.until.empty()) {
    request.end_utc = next_moment(arguments.until, clock.utc());
    request.end = "--until " + arguments.until;
  }
  request.scale.bar_mm = bar_mm_from(arguments.bar);
  if (!arguments.video.empty()) request.video_bytes = parse_size(arguments.video);
  return request;
}

void print(const WatchSummary& summary) {
  const std::string run = summary.run.path.string();
  if (summary.was_over) {
    say(stdout,
        fmt::format(
            "{}: {}, after {}; nothing was added. For a new night give --run another folder\n",
            run,
            summary.ended,
            duration_text(summary.last_t_s)));
  } else if (summary.pictures == 0) {
    say(stdout,
        fmt::format(
            "{}: ended before the first picture ({}); nothing was added\n", run, summary.ended));
    return;
  } else {
    say(stdout,
        fmt::format("{}: {} pictures, {} measured; ended after {} ({}), the last picture at {}\n",
                    run,
                    summary.pictures,
                    summary.pictures_by_state.measured(),
                    duration_text(summary.ended_t_s),
                    summary.ended,
                    duration_text(summary.last_t_s)));
  }
  print_next_step(run, summary.calibrated);
}

/// Nothing if none is wanted, or none can be served: the night does not depend on it.
std::unique_ptr<WatchPage> open_page(const WatchArguments& arguments, const Clock& clock) {
  if (!arguments.page.is_wanted()) return nullptr;
  const PageAddress address = page_address(arguments.page);
  try {
    auto page = std::make_unique<WatchPage>(address, arguments.run, clock, kCautions);
    print_page(page->page().urls());
    return page;
  } catch (const InputError& error) {
    print_no_page(error.what());
    return nullptr;
  }
}

void watch_with(const WatchArguments& arguments) {
  const SystemClock clock;
  const StopSignal stop_signal(StopSignal::Hangup::kGoesOn);
  WatchTerminal terminal(arguments.quiet);
  const auto page = open_page(arguments, clock);
  const WatchHooks hooks{.why_stop = &StopSignal::name,
                         .see =
                             [&](const WatchStatus& status, const cv::Mat& picture) {
                               terminal.show(status);
                               if (page) page->see(status, picture);
                             },
                         .tell = [&](const std::string& event,
                                     const std::string& detail) { terminal.tell(event, detail); }};
  const OpenCamera open = announced_opener(arguments.camera, clock, arguments.quiet);
  const WatchSummary summary = watch(request_from(arguments, clock), open, clock, hooks);
  terminal.finish();
  print(summary);
}

}  // namespace

void add_watch_command(CLI::App& app) {
  auto arguments = std::make_shared<WatchArguments>();
  CLI::App* command = app.add_subcommand(
      "watch", "track the spot of a camera at the wall, all night, into a run folder");
  add_camera_options(*command, arguments->camera)->required();
  command
      ->add_option("--run",
                   arguments->run,
                   "folder of this night; if it was interrupted, the same command goes on with it")
      ->required();
  CLI::Option* length =
      command->add_option("--for", arguments->length, "end so long after the first picture: 9h")
          ->check(duration_check());
  command
      ->add_option("--until", arguments->until, "end at that time of the day (07:00), or ISO 8601")
      ->check(moment_check())
      ->excludes(length);
  command
      ->add_option("--every",
                   arguments->every,
                   "one line of the track for so much time, at most 10s; it is the mean of the "
                   "pictures that came in it")
      ->check(duration_check())
      ->capture_default_str();
  add_bar_option(*command, arguments->bar);
  command
      ->add_option("--video",
                   arguments->video,
                   "keep a video of the strip that the spot runs through, at most so large (2GB), "
                   "from which the night can be tracked again")
      ->check(CLI::Validator(
          [](std::string& text) {
            return parse_size(text) ? std::string()
                                    : fmt::format("'{}' is no size such as 500MB or 2GB", text);
          },
          "SIZE"));
  command
      ->add_option("--target",
                   arguments->target,
                   "how well the shift shall be known (standard uncertainty over the shift); the "
                   "time still needed for it is told")
      ->capture_default_str();
  add_page_options(*command, arguments->page, "show how it goes on a web page");
  command->add_flag("--quiet", arguments->quiet, "say nothing until the end");
  command->footer(
      "Example: nightswing watch --camera 0 --exposure 20ms --run runs/tonight --until 07:00\n"
      "Next:    nightswing mark runs/tonight minus --at 2026-03-14T23:35:00Z\n"
      "         nightswing analyse runs/tonight --apparatus my_balance.yaml");
  command->callback([arguments] { watch_with(*arguments); });
}

}  // namespace nightswing::tracker
