#include <chrono>
#include <cstdio>
#include <memory>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/aim/aim_picture.h"
#include "tracker/aim/aim_reading.h"
#include "tracker/aim/aim_window.h"
#include "tracker/camera/camera_list.h"
#include "tracker/camera/frame_grabber.h"
#include "tracker/camera/open_camera.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/commands/camera_options.h"
#include "tracker/commands/commands.h"
#include "tracker/commands/page_options.h"
#include "tracker/frames/stream_decoder.h"
#include "tracker/page/aim_page.h"
#include "tracker/text/say.h"
#include "tracker/text/shell_word.h"
#include "tracker/text/terminal_line.h"
#include "tracker/watch/stop_signal.h"

namespace nightswing::tracker {
namespace {

constexpr std::chrono::milliseconds kPatience{200};
constexpr std::chrono::milliseconds kLongestWait{2000};
constexpr double kLineEvery_s = 1.0;

struct AimArguments {
  CameraArguments camera;
  std::string bar;
  std::string length;
  PageArguments page;
  bool list = false;
  bool no_window = false;
};

void print_list() {
  const auto cameras = list_cameras(system_calls());
  if (cameras.empty()) {
    fmt::print("no camera at this computer; a network camera is given by its address\n");
  }
  for (const ListedCamera& camera : cameras) {
    fmt::print("{}  {}{}\n",
               camera.path,
               camera.name,
               camera.lasting.empty() ? "" : "  " + camera.lasting);
  }
}

/// Says once what the camera took.
void print(const FrameGrabber& grabber) {
  const CameraFacts& camera = grabber.facts();
  fmt::print("camera: {}\n", camera.identity);
  fmt::print("pictures: {}\n", camera.format);
  fmt::print("settings: {}\n", text_of(grabber.settings()));
  for (const std::string& refused : camera.refused) fmt::print("warning: {}\n", refused);
  std::fflush(stdout);
}

/// A page if one is wanted, or if there is no display for a window; nothing if none can be served.
std::unique_ptr<AimPage> open_page(const AimArguments& arguments,
                                   const PageAddress& address,
                                   const std::string& camera) {
  const bool instead = !has_display() && !arguments.no_window;
  if (!arguments.page.is_wanted() && !instead) return nullptr;
  try {
    auto page = std::make_unique<AimPage>(address, camera, kCautions);
    print_page(page->page().urls());
    return page;
  } catch (const InputError& error) {
    print_no_page(error.what());
    return nullptr;
  }
}

void tell(const CameraNotice& notice, AimPage* page) {
  switch (notice.kind) {
    case CameraNotice::Kind::kLost:
      say(stdout,
          fmt::format("camera lost: {}; it is tried again until it is back\n", notice.text));
      if (page != nullptr) page->lose(notice.text);
      break;
    case CameraNotice::Kind::kBack:
      say(stdout, fmt::format("camera back {}\n", notice.text));
      break;
    case CameraNotice::Kind::kChanged:
      say(stdout, fmt::format("camera changed: {}\n", notice.text));
      break;
  }
}

void aim(const AimArguments& arguments) {
  const SystemClock clock;
  const StopSignal stop_signal;
  const PageAddress address = page_address(arguments.page);
  ScaleInView scale;
  scale.bar_mm = bar_mm_from(arguments.bar);
  const OpenCamera open = announced_opener(arguments.camera, clock);
  auto camera = open(&StopSignal::came);
  if (!camera) return;
  FrameGrabberOptions patience;
  patience.longest_wait = kLongestWait;  // somebody stands at the camera
  FrameGrabber grabber(std::move(camera), open, clock, patience);
  fmt::print("{}\n", kCautions);
  print(grabber);
  AimObserver observer(scale);
  TerminalLine line(stdout);
  double next_line_s = 0.0;
  std::optional<AimWindow> window;
  if (has_display() && !arguments.no_window && !arguments.page.is_wanted()) window.emplace();
  const auto page = open_page(arguments, address, grabber.facts().identity);
  const auto length_s = parse_duration_s(arguments.length);
  const double begin_s = clock.steady_s();
  LivePicture live;
  bool goes_on = true;
  while (goes_on && !StopSignal::came()) {
    for (const CameraNotice& notice : grabber.take_notices()) tell(notice, page.get());
    if (length_s && clock.steady_s() - begin_s > *length_s) break;
    if (!grabber.next(live, kPatience)) continue;
    const AimReading reading = observer.see(live.picture, live.steady_s);
    if (live.steady_s >= next_line_s) {
      next_line_s = live.steady_s + kLineEvery_s;
      line.show(text_of(reading));
    }
    if (page) page->see(live.picture, reading);
    if (window) goes_on = window->show(aim_picture(live.picture, reading));
  }
  if (line.on_terminal()) fmt::print("\n");  // the last reading stays
  fmt::print("next: nightswing watch --camera {}{}{} --run runs/tonight\n",
             shell_word(without_password(arguments.camera.camera)),
             settings_text(arguments.camera),
             arguments.bar.empty() ? "" : " --bar " + shell_word(arguments.bar));
}

}  // namespace

void add_aim_command(CLI::App& app) {
  auto arguments = std::make_shared<AimArguments>();
  CLI::App* command = app.add_subcommand(
      "aim", "set a camera up: the live picture and what the program sees in it");
  CLI::Option* camera = add_camera_options(*command, arguments->camera);
  add_bar_option(*command, arguments->bar);
  command->add_option("--for", arguments->length, "end after so long: 30s")
      ->check(duration_check());
  add_page_options(
      *command, arguments->page, "show it on a web page, as is done where there is no display");
  command->add_flag("--no-window",
                    arguments->no_window,
                    "words only, neither a window nor, where there is no display, a page");
  command->add_flag("--list", arguments->list, "list the cameras at this computer")
      ->excludes(camera);
  command->footer(
      "Example: nightswing aim --camera 0 --exposure 20ms\n"
      "         nightswing aim --list\n"
      "Next:    nightswing watch --camera 0 --exposure 20ms --run runs/tonight --until 07:00");
  command->callback([arguments, camera] {
    if (arguments->list) return print_list();
    if (camera->count() == 0) throw CLI::RequiredError("--camera or --list");
    aim(*arguments);
  });
}

}  // namespace nightswing::tracker
