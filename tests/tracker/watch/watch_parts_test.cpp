// The parts of a watch: its file, its clock, its disk, its pace, its signals.
#include <sys/wait.h>

#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <random>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/await.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/commands/argument_checks.h"
#include "tracker/text/say.h"
#include "tracker/watch/clock_steps.h"
#include "tracker/watch/disk_space.h"
#include "tracker/watch/disk_writer.h"
#include "tracker/watch/picture_pace.h"
#include "tracker/watch/stop_signal.h"
#include "tracker/watch/strip_video.h"
#include "tracker/watch/watch_file.h"
#include "tracker/watch/watch_terminal.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

UtcTime utc(const char* text) {
  return *parse_iso_time(text);
}

/// The time zone of this program for as long as this lives.
class Zone {
 public:
  explicit Zone(const char* name) {
    ::setenv("TZ", name, 1);
    ::tzset();
  }
  ~Zone() {
    ::unsetenv("TZ");
    ::tzset();
  }
  Zone(const Zone&) = delete;
  Zone& operator=(const Zone&) = delete;
};

}  // namespace

TEST_SUITE("watch_parts") {
  TEST_CASE("watch.yaml comes back as it was written") {
    const TemporaryFolder folder;
    const WatchFile file{.camera = "/dev/v4l/by-id/usb-A: \"B\"_#1-video-index0",
                         .every = "1s",
                         .scale = "199.4(2) mm",
                         .boot = "0123-4567",
                         .steady_at_start_s = -12345.678901,
                         .end = "--until 07:00",
                         .end_utc = utc("2026-03-15T06:00:00Z")};
    write_watch_file(folder / "watch.yaml", file);
    const WatchFile read = read_watch_file(folder / "watch.yaml");
    CHECK(read.camera == file.camera);
    CHECK(read.every == file.every);
    CHECK(read.scale == file.scale);
    CHECK(read.boot == file.boot);
    CHECK(read.steady_at_start_s == within_abs(file.steady_at_start_s, 1e-6));
    CHECK(read.end == file.end);
    CHECK(read.end_utc == file.end_utc);
    write_text(folder / "watch.yaml", "camera: a\nevery: 1s\nboot: b\nsteady_at_start_s: soon\n");
    CHECK_THROWS_AS(static_cast<void>(read_watch_file(folder / "watch.yaml")),
                    nightswing::InputError);
  }

  TEST_CASE("a wall clock that goes with the steady one is no step, slowly or at once is") {
    ClockSteps steps;
    const UtcTime start = utc("2026-03-14T21:30:00Z");
    CHECK_FALSE(steps.look(100.0, start));
    CHECK_FALSE(steps.look(4100.0, after(start, 4000.3)));
    const auto set = steps.look(4101.0, after(start, 4001.9));
    REQUIRE(set);
    CHECK(set->starts_with("this computer's clock was put forward by 0.9 s"));
    CHECK_FALSE(steps.look(5101.0, after(start, 5001.9)));  // counted anew
    const auto back = steps.look(5102.0, after(start, 5002.9 - 3600.0));
    REQUIRE(back);
    CHECK(back->find("put back by 1 h 00 min") != std::string::npos);
    // NTP turns a clock by 500 us each second at most (adjtimex(2), from memory): in 4000 s 2 s
    int told = 0;
    for (int k = 0; k < 4000; ++k) {
      if (steps.look(5102.0 + k, after(start, 5002.9 - 3600.0 + 1.0005 * k))) ++told;
    }
    CHECK(told == 3);
  }

  TEST_CASE("room on the disk ends the video first and the pictures next") {
    constexpr std::uint64_t kGiga = 1'000'000'000;
    CHECK(room_on({.free_bytes = kGiga, .size_bytes = 100 * kGiga}) == DiskRoom::kEverything);
    CHECK(room_on({.free_bytes = kGiga / 3, .size_bytes = 100 * kGiga}) == DiskRoom::kNoVideo);
    CHECK(room_on({.free_bytes = kGiga / 10, .size_bytes = 100 * kGiga}) == DiskRoom::kNoPictures);
    // a small memory card
    CHECK(room_on({.free_bytes = kGiga / 10, .size_bytes = kGiga}) == DiskRoom::kEverything);
    CHECK(room_on({.free_bytes = kGiga / 30, .size_bytes = kGiga}) == DiskRoom::kNoVideo);
    CHECK(room_on({.free_bytes = kGiga / 100, .size_bytes = kGiga}) == DiskRoom::kNoPictures);
    const auto here = disk_space("/");
    REQUIRE(here);
    CHECK(here->size_bytes >= here->free_bytes);
    CHECK_FALSE(disk_space("/no/such/folder"));
  }

  TEST_CASE("sizes are read as people write them") {
    CHECK(parse_size("2GB") == 2'000'000'000U);
    CHECK(parse_size("1.5 GB") == 1'500'000'000U);
    CHECK(parse_size("500MB") == 500'000'000U);
    for (const char* wrong : {"", "2", "GB", "-1GB", "0MB", "2TB", "nanGB", "2 G B"}) {
      CAPTURE(wrong);
      CHECK_FALSE(parse_size(wrong));
    }
    CHECK(size_text(4'210'000'000) == "4.2 GB");
    CHECK(size_text(310'000'000) == "310 MB");
    CHECK(size_text(31'000) == "31 kB");
  }

  TEST_CASE("the next time of the day is that of this place, also over a change to summer time") {
    // Rules of Central European Time: the clocks go from 2 to 3 on 2026-03-29 (Directive
    // 2000/84/EC)
    const Zone zone("CET-1CEST,M3.5.0,M10.5.0/3");
    CHECK(next_moment("07:00", utc("2026-03-14T21:30:00Z")) == utc("2026-03-15T06:00:00Z"));
    CHECK(next_moment("07:00", utc("2026-03-28T21:30:00Z")) == utc("2026-03-29T05:00:00Z"));
    CHECK(next_moment("23:00", utc("2026-03-14T21:30:00Z")) == utc("2026-03-14T22:00:00Z"));
    CHECK(next_moment("22:30", utc("2026-03-14T21:30:00Z")) == utc("2026-03-15T21:30:00Z"));
    CHECK(next_moment("2026-03-20T07:00:00Z", utc("2026-03-14T21:30:00Z")) ==
          utc("2026-03-20T07:00:00Z"));
    for (const char* wrong : {"7", "24:00", "07:60", "7 o'clock", "07:00:00", "-1:30"}) {
      CAPTURE(wrong);
      CHECK_THROWS_AS(static_cast<void>(next_moment(wrong, utc("2026-03-14T21:30:00Z"))),
                      nightswing::InputError);
    }
  }

  TEST_CASE("the scatter of picture times is found from their distances") {
    PicturePace pace;
    CHECK(pace.text().empty());
    std::mt19937_64 random(5);
    std::normal_distribution<double> jitter_s(0.0, 0.004);
    for (int k = 0; k < 300; ++k) pace.see(0.2 * k + jitter_s(random));
    double usual_s = 0.0;
    double scatter_ms = 0.0;
    REQUIRE(std::sscanf(pace.text().c_str(),
                        "one every %lf s; their times scatter by %lf ms",
                        &usual_s,
                        &scatter_ms) == 2);
    CHECK(usual_s == within_abs(0.2, 0.001));
    // median of 300 deviations: relative standard error about 1.17/sqrt(300) = 0.07
    CHECK(scatter_ms == within_rel(4.0, 0.2));
  }

  TEST_CASE("a pause between pictures is told, a single missing one and what was a loss are not") {
    PicturePace pace;
    double now_s = 0.0;
    const auto after = [&](double seconds) { return pace.see(now_s += seconds); };
    for (int k = 0; k < 10; ++k) CHECK(after(0.2).empty());
    CHECK(after(0.9).empty());
    CHECK(after(1.4) == "no picture for 1.4 s");
    CHECK(after(0.2).empty());
    pace.come_back();
    CHECK(after(60.0).empty());
    CHECK(after(1.0) == "no picture for 1.0 s");

    PicturePace slow;
    now_s = 0.0;
    for (int k = 0; k < 10; ++k) CHECK(slow.see(now_s += 2.0).empty());
    CHECK(slow.see(now_s += 4.0).empty());
    CHECK(slow.see(now_s += 6.0) == "no picture for 6.0 s");
  }

  TEST_CASE("a camera that pauses all night does not fill the log") {
    PicturePace pace;
    double now_s = 0.0;
    int told = 0;
    for (int k = 0; k < 1000; ++k) {
      if (!pace.see(now_s += k % 10 == 9 ? 2.0 : 0.2).empty()) ++told;
    }
    CHECK(told == 50);
    CHECK(pace.untold_pauses() == "in all there were 100 pauses between pictures");
  }

  TEST_CASE("a terminal that is closed ends it cleanly, or not at all, a reader that goes never") {
    {
      const StopSignal ends;
      ::raise(SIGPIPE);
      CHECK_FALSE(StopSignal::came());
      ::raise(SIGHUP);
      CHECK(StopSignal::name() == "closed terminal");
    }
    const StopSignal goes_on(StopSignal::Hangup::kGoesOn);
    ::raise(SIGHUP);
    CHECK_FALSE(StopSignal::came());
  }

  TEST_CASE("what cannot be said is not heard, and nothing else") {
    std::FILE* full = std::fopen("/dev/full", "w");
    REQUIRE(full != nullptr);
    for (int k = 0; k < 3; ++k) say(full, std::string(10'000, 'x'));
    CHECK(std::ferror(full) == 0);
    std::fclose(full);
  }

  TEST_CASE("the first signal asks for an end, the second ends at once") {
    CHECK_FALSE(StopSignal::came());
    {
      const StopSignal signal;
      ::raise(SIGTERM);
      CHECK(StopSignal::came());
      CHECK(StopSignal::name() == "SIGTERM");
    }
    {
      const StopSignal signal;
      CHECK_FALSE(StopSignal::came());
      ::raise(SIGINT);
      CHECK(StopSignal::name() == "Ctrl-C");
    }
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      const StopSignal signal;
      ::raise(SIGTERM);
      if (StopSignal::came()) ::raise(SIGTERM);
      ::_exit(0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    CHECK(WIFSIGNALED(status));
    CHECK(WTERMSIG(status) == SIGTERM);
  }

  TEST_CASE("a disk that refuses is told once, and not asked again") {
    std::atomic<int> calls = 0;
    DiskWriter writer(
        [&] {
          ++calls;
          throw nightswing::InputError("the disk refuses");
        },
        std::chrono::milliseconds(1));
    REQUIRE(await([&] { return calls > 0; }));
    bool thrown = false;
    for (int k = 0; k < 1'000'000 && !thrown; ++k) {
      try {
        writer.check();
      } catch (const nightswing::InputError&) {
        thrown = true;
      }
    }
    CHECK(thrown);
    CHECK(calls == 1);
  }

  TEST_CASE("a video that the disk does not take says so once, and is over") {
    const TemporaryFolder folder;
    std::ofstream(folder / "video") << "a file where the folder would be";
    StripVideo video(folder / "video", {.most_bytes = 1'000'000}, utc("2026-03-14T21:00:00Z"));
    const cv::Mat picture(240, 320, CV_8UC3, cv::Scalar::all(40));
    const SpotMeasurement lost{SpotState::kLost, {}};
    CHECK(video.see(picture, 0.0, lost).find((folder / "video").string()) != std::string::npos);
    CHECK(video.has_ended());
    CHECK(video.see(picture, 1.0, lost).empty());
    CHECK(video.end().empty());
  }

  TEST_CASE("the line of the terminal says what is seen") {
    WatchStatus status;
    status.t_s = 11520.0;
    CHECK(text_of(status) == "3 h 12 min: spot lost");
    status.spot = {SpotState::kFound, SpotPosition{612.312, 345.02, 0.01, 0.01, 100.0, 4.1}};
    CHECK(text_of(status) == "3 h 12 min: spot found at 612.31 px, 345.02 px (width 4.1 px)");
    status.so_far.sentence = "shift known to 0.8 % now";
    CHECK(text_of(status) == "3 h 12 min: spot found; shift known to 0.8 % now");
    status.camera_fault = "it was unplugged";
    CHECK(text_of(status) == "3 h 12 min: no camera (it was unplugged)");
  }
}
