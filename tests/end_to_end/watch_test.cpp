// The watch as a user runs it, at a camera served on this computer: kill -9, SIGTERM, streams that
// stop and change.
#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include <doctest/doctest.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/end_to_end/watched_stream.h"
#include "tests/support/near.h"
#include "tests/support/night_camera.h"
#include "tests/support/running_program.h"
#include "tests/support/served_stream.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/picture_file.h"
#include "tracker/frames/video_source.h"
#include "tracker/run/camera_file.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/track_file.h"
#include "tracker/spot/spot_finder.h"
#include "tracker/watch/watch_file.h"

using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

/// Whatever the moment of a kill: every file that is there can be read, but for a torn last line.
void check_files(const std::string& path) {
  const RunFolder run{path};
  if (std::filesystem::exists(run.run_yaml())) {
    CHECK_NOTHROW(static_cast<void>(read_run_info(run)));
  }
  if (std::filesystem::exists(run.watch())) {
    CHECK_NOTHROW(static_cast<void>(read_watch_file(run.watch())));
  }
  const auto is_torn = [](const std::vector<std::string>& warnings) {
    return warnings.empty() ||
           (warnings.size() == 1 && warnings[0].find("the last line is torn") != std::string::npos);
  };
  CHECK(is_torn(read_events(run.events()).warnings));
  const auto camera = read_camera(run.camera());
  if (camera) CHECK(is_torn(camera->warnings));
  if (std::filesystem::exists(run.first_frame())) {
    CHECK_FALSE(read_picture(run.first_frame()).empty());
  }
}

/// How often the killing is repeated: a few times in every run of the tests, 200 times by hand.
int kills() {
  const char* wanted = std::getenv("NIGHTSWING_KILLS");
  return wanted == nullptr ? 6 : std::atoi(wanted);
}

}  // namespace

TEST_SUITE("watch_command") {
  TEST_CASE("killed at random moments it loses nothing older than a second, and goes on") {
    WatchedStream set;
    std::mt19937_64 random(11);
    std::uniform_int_distribution<int> moment_ms(0, 2500);
    std::string before;
    int with_lines = 0;
    for (int k = 0; k < kills(); ++k) {
      CAPTURE(k);
      RunningProgram watch = watching(set.stream, set.run);
      const auto moment =
          std::chrono::steady_clock::now() + std::chrono::milliseconds(moment_ms(random));
      REQUIRE(await([&] { return std::chrono::steady_clock::now() >= moment; }));
      REQUIRE_MESSAGE(watch.is_running(), watch.errors());
      const std::string at_kill = text_of(set.run + "/track.csv");
      watch.send(SIGKILL);
      const auto killed = std::chrono::system_clock::now();
      CHECK(watch.status() == 128 + SIGKILL);
      const std::string after_kill = text_of(set.run + "/track.csv");
      CHECK(after_kill.starts_with(at_kill));
      CHECK(after_kill.starts_with(before));
      check_files(set.run);
      if (after_kill.size() > before.size() && !before.empty()) ++with_lines;
      const Track track = after_kill.empty() ? Track{} : read_track(set.run + "/track.csv");
      if (after_kill.size() > before.size() && track.rows.size() > 2) {
        // A line of 250 ms is complete when the next picture has come, 80 ms later at most, and its
        // time is that of its middle; the rest is this computer's own slowness.
        const auto last = std::chrono::duration<double>(killed - *track.rows.back().utc);
        CHECK(last.count() < 1.0);
      }
      before = after_kill;
    }
    {
      RunningProgram watch = watching(set.stream, set.run);
      set.await_lines(watch, 4);
      watch.send(SIGTERM);
      CHECK(watch.status() == 0);
    }
    const Track track = read_track(set.run + "/track.csv");
    CHECK_MESSAGE(track.warnings.empty(), track.warnings.front());
    CHECK(read_events(set.run + "/events.csv").warnings.empty());
    const auto camera = read_camera(set.run + "/camera.csv");
    REQUIRE(camera);
    CHECK(camera->warnings.empty());
    CHECK(set.events("started").size() >= 1);
    CHECK(set.events("resumed").size() >= static_cast<std::size_t>(with_lines));
    CHECK(set.events("ended").size() == 1);
    // One continuous track: the steady clock carried it over every gap.
    for (std::size_t k = 1; k < track.rows.size(); ++k) {
      const double by_utc_s = seconds_between(*track.rows[0].utc, *track.rows[k].utc);
      CHECK(track.rows[k].t_s - track.rows[0].t_s == within_abs(by_utc_s, 0.01));
    }
  }

  TEST_CASE("the video of a watch that was killed can be tracked, and goes on in another file") {
    WatchedStream set;
    const auto filmed = [&] {
      RunningProgram watch = watching(set.stream, set.run, " --video 100MB");
      set.await_lines(watch, 24);
      watch.send(SIGKILL);
      CHECK(watch.status() == 128 + SIGKILL);
    };
    filmed();
    filmed();
    std::vector<std::filesystem::path> films;
    for (const auto& entry : std::filesystem::directory_iterator(set.run + "/video")) {
      films.push_back(entry.path());
    }
    CHECK(films.size() == 2);
    for (const auto& film : films) {
      CAPTURE(film.string());
      VideoSource source(film);
      Frame frame;
      SpotFinder finder;
      int frames = 0;
      int measured = 0;
      while (source.next(frame)) {
        ++frames;
        if (is_measured(finder.measure(frame.picture).state)) ++measured;
      }
      // One of each line, but for what the encoder still held; the spot has to be known first.
      CHECK(frames >= 8);
      CHECK(measured >= frames / 2);
    }
  }

  TEST_CASE("SIGTERM and Ctrl-C end it cleanly") {
    for (const int signal : {SIGTERM, SIGINT}) {
      WatchedStream set;
      RunningProgram watch = watching(set.stream, set.run);
      set.await_lines(watch, 6);
      watch.send(signal);
      CHECK(watch.status() == 0);
      REQUIRE(set.events("ended").size() == 1);
      CHECK(
          set.events("ended")[0].detail.starts_with(signal == SIGTERM ? "SIGTERM: " : "Ctrl-C: "));
      CHECK(read_track(set.run + "/track.csv").warnings.empty());
    }
  }

  TEST_CASE("SIGTERM and Ctrl-C end it at once, too, while a camera is being opened") {
    const TemporaryFolder folder;
    ServedStream silent;  // takes the connection and sends nothing: it is waited for 20 s
    const std::string run = (folder / "run").string();
    int visitors = 0;
    for (const std::string& command :
         {"watch --run " + run, std::string("aim --no-window"), "replay --run " + run}) {
      CAPTURE(command);
      const bool is_replay = command.starts_with("replay");
      RunningProgram program(command + (is_replay ? " " : " --camera ") + silent.address(),
                             (folder / "errors").string());
      REQUIRE(await([&] { return silent.visitors() > visitors; }));
      visitors = silent.visitors();
      const auto asked = std::chrono::steady_clock::now();
      program.send(visitors % 2 == 0 ? SIGTERM : SIGINT);
      CHECK(program.status() == (is_replay ? 1 : 0));  // of a replay nothing is there to go on with
      CHECK(std::chrono::steady_clock::now() - asked < std::chrono::seconds(10));
      CHECK_FALSE(std::filesystem::exists(run));
    }
  }

  TEST_CASE("SIGTERM ends it cleanly while a camera that was lost is being opened") {
    WatchedStream set;
    RunningProgram watch = watching(set.stream, set.run);
    set.await_lines(watch, 6);
    set.camera.stop_showing();
    REQUIRE(await([&] { return set.events("camera lost").size() == 1; }));
    REQUIRE(await([&] { return set.stream.visitors() == 2; }));
    const auto asked = std::chrono::steady_clock::now();
    watch.send(SIGTERM);
    CHECK(watch.status() == 0);
    CHECK(std::chrono::steady_clock::now() - asked < std::chrono::seconds(10));
    CHECK(set.events("ended").size() == 1);
    CHECK(read_track(set.run + "/track.csv").warnings.empty());
  }

  TEST_CASE("neither a closed terminal nor a full disk under what it says ends a watch") {
    WatchedStream set;
    RunningProgram watch(
        "watch --camera " + set.stream.address() + " --every 250ms --run " + set.run, "/dev/full");
    set.await_lines(watch, 6);
    watch.send(SIGHUP);
    set.stream.hang_up(false);  // there is something to say
    REQUIRE(await([&] { return set.events("camera back").size() == 1; }));
    set.await_lines(watch, 4);
    watch.send(SIGTERM);
    CHECK(watch.status() == 0);
    CHECK(set.events("ended").size() == 1);
  }

  TEST_CASE("a stream is replayed until Ctrl-C, into a run that is whole") {
    WatchedStream set;
    RunningProgram replay("replay " + set.stream.address() + " --quiet --run " + set.run,
                          set.run + ".errors");
    set.await_lines(replay, 12);
    replay.send(SIGINT);
    CHECK_MESSAGE(replay.status() == 0, replay.errors());
    const Track track = read_track(set.run + "/track.csv");
    CHECK(track.warnings.empty());
    CHECK(track.rows.size() >= 12);
    REQUIRE(set.events("ended").size() == 1);
    const std::string detail = set.events("ended")[0].detail;
    CHECK(detail.starts_with(std::to_string(track.rows.size()) + " frames ("));
    CHECK(detail.ends_with(" dark), stopped by Ctrl-C"));
    CHECK(std::filesystem::exists(set.run + "/frames/first.png"));
  }

  TEST_CASE("it ends by itself after --for, and is then over") {
    WatchedStream set;
    RunningProgram watch = watching(set.stream, set.run, " --for 2s");
    CHECK(watch.status() == 0);
    const Track track = read_track(set.run + "/track.csv");
    CHECK(track.rows.back().t_s == within_abs(1.9, 0.5));
    RunningProgram again = watching(set.stream, set.run, " --for 2s");
    CHECK(again.status() == 0);
    CHECK(read_track(set.run + "/track.csv").rows.size() == track.rows.size());
  }

  TEST_CASE("a stream that stops, sends garbage, and comes back in another size costs no line") {
    WatchedStream set;
    RunningProgram watch = watching(set.stream, set.run);
    set.await_lines(watch, 6);
    set.stream.hang_up(true);
    REQUIRE(await([&] { return set.events("camera lost").size() == 1; }));
    CHECK(watch.is_running());
    const long lines = set.track_lines();
    set.stream.accept();
    REQUIRE(await([&] { return set.events("camera back").size() == 1; }));
    set.await_lines(watch, 4);
    CHECK(set.track_lines() > lines);

    // garbage in the middle of the stream
    for (int k = 0; k < 20; ++k) set.stream.show_bytes(std::string(3000, static_cast<char>(k)));
    set.await_lines(watch, 4);

    // another size, until it is put right
    set.camera.stop_showing();
    const cv::Mat small = NightCamera::picture(1, {160, 120});
    REQUIRE(await([&] {
      set.stream.show(small);
      return set.events("camera lost").size() >= 2;
    }));
    REQUIRE(await([&] {
      set.stream.show(small);
      for (const Event& event : set.events("camera lost")) {
        if (event.detail.find("160 x 120, not 320 x 240") != std::string::npos) return true;
      }
      return false;
    }));
    const std::size_t back = set.events("camera back").size();
    set.stream.hang_up(false);
    set.camera.show_again();
    REQUIRE(await([&] { return set.events("camera back").size() > back; }));
    set.await_lines(watch, 4);
    watch.send(SIGTERM);
    CHECK(watch.status() == 0);
    CHECK(read_track(set.run + "/track.csv").warnings.empty());
    CHECK(read_events(set.run + "/events.csv").warnings.empty());
  }

  TEST_CASE("wrong words are refused before a camera is asked") {
    CHECK(nightswing_command("watch --camera 0").status == 2);
    CHECK(nightswing_command("watch --run r --camera 0 --until soon").status == 2);
    CHECK(nightswing_command("watch --run r --camera 0 --video 3").status == 2);
    CHECK(nightswing_command("watch --run r --camera 0 --for 1h --until 07:00").status == 2);
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    const auto none = nightswing_command("watch --camera no-such-camera --run " + run);
    CHECK(none.status == 1);
    CHECK(none.errors.find("no camera 'no-such-camera' at this computer") != std::string::npos);
    const auto refused =
        nightswing_command("watch --camera http://127.0.0.1:9/ --gain 3 --run " + run);
    CHECK(refused.status == 2);
    CHECK(refused.errors.find("are set where it is served") != std::string::npos);
  }

  TEST_CASE("the example of a service is one, and its command is understood") {
    // systemd wants the program to be where the line says.
    const TemporaryFolder folder;
    std::string unit = text_of(std::filesystem::path(NIGHTSWING_SOURCE_DIR) / "configs" /
                               "nightswing-watch.service");
    const std::string begin = "ExecStart=/usr/bin/nightswing ";
    const auto at = unit.find(begin);
    REQUIRE(at != std::string::npos);
    const auto words = at + begin.size();
    std::string command = unit.substr(words, unit.find('\n', at) - words);
    unit.replace(at, begin.size(), "ExecStart=/bin/true ");
    write_text(folder / "nightswing-watch.service", unit);
    const auto verified =
        run_command("systemd-analyze verify " + (folder / "nightswing-watch.service").string());
    CHECK_MESSAGE(verified.status == 0, verified.errors);
    CHECK_MESSAGE(verified.errors.find("nightswing-watch.service") == std::string::npos,
                  verified.errors);

    const std::string camera = "--camera 0";
    REQUIRE(command.find(camera) != std::string::npos);
    command.replace(command.find(camera), camera.size(), "--camera no-such-camera");
    const auto tried = nightswing_command(command);
    CHECK(tried.status == 1);  // 2 would be wrong words
    CHECK(tried.errors.find("no camera 'no-such-camera' at this computer") != std::string::npos);
  }

  TEST_CASE("aim lists the cameras, and says in words what it sees") {
    // This machine has none, or the test would name them.
    const auto list = nightswing_command("aim --list");
    CHECK(list.status == 0);
    CHECK_FALSE(list.output.empty());
    CHECK(nightswing_command("aim").status == 2);
    const WatchedStream set;
    const auto aimed =
        nightswing_command("aim --no-window --for 6s --camera " + set.stream.address());
    CHECK_MESSAGE(aimed.status == 0, aimed.errors);
    CHECK(aimed.output.find("pictures: 320 x 240, stream\n") != std::string::npos);
    CHECK(aimed.output.find("spot found at ") != std::string::npos);
    CHECK(aimed.output.find("next: nightswing watch --camera " + set.stream.address() + " --run") !=
          std::string::npos);
  }
}
