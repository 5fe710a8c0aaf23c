// A replay that is killed, or whose files lost their ends, and goes on: the same to the byte as one
// that was not.

#include <csignal>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/running_program.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/line_file.h"
#include "tracker/run/run_folder.h"

using namespace nightswing::test;
using nightswing::tracker::read_whole_file;

namespace {

constexpr const char* kTimes = " --frame-every 5s --start 2026-03-14T21:30:00Z --quiet";

/// 600 frames with a readable scale, a knock, and a spot that is covered twice; the whole run.
class Night {
 public:
  Night() {
    const std::string night = (folder_ / "night").string();
    const auto rendered = demo_night_command(
        "--out " + night +
        " --size 640x360 --preset ultrafast --duration 50m --sides plus@0s,minus@25m"
        " --bump-px 4 --bump-deg 0.2 --bump-at 30m");
    REQUIRE_MESSAGE(rendered.status == 0, rendered.errors);
    const auto covered = run_command(
        "ffmpeg -v error -i " + night +
        "/night.mp4 -vf \"drawbox=enable='between(n,60,70)+between(n,200,206)':x=0:y=0:w=640:h=360:"
        "color=gray:t=fill\" -c:v libx264 -preset ultrafast -crf 18 " +
        film());
    REQUIRE_MESSAGE(covered.status == 0, covered.errors);
    const auto whole = nightswing_command("replay " + film() + kTimes + " --run " + run());
    REQUIRE_MESSAGE(whole.status == 0, whole.errors);
  }

  [[nodiscard]] std::string film() const { return (folder_ / "film.mp4").string(); }
  [[nodiscard]] std::string run() const { return (folder_ / "run").string(); }

 private:
  TemporaryFolder folder_;
};

const Night& night() {
  static const Night one;
  return one;
}

/// events.csv without the lines that say that the run was resumed.
std::string own_events(const std::string& run) {
  std::istringstream lines(read_whole_file(run + "/events.csv"));
  std::string text;
  for (std::string line; std::getline(lines, line);) {
    if (line.find(",resumed,") == std::string::npos) text += line + '\n';
  }
  return text;
}

void check_same_as_whole(const std::string& run) {
  for (const char* name :
       {"track.csv", "camera.csv", "run.yaml", "wall.yaml", "frames/first.png"}) {
    CAPTURE(name);
    // No CHECK_EQ on the texts: a difference would be printed in full.
    CHECK((read_whole_file(run + '/' + name) == read_whole_file(night().run() + '/' + name)));
  }
  CHECK(own_events(run) == own_events(night().run()));
}

std::uintmax_t size_of(const std::string& file) {
  std::error_code none;
  const auto size = std::filesystem::file_size(file, none);
  return none ? 0 : size;
}

/// Replays and kills (SIGKILL) as soon as track.csv is so long; says whether it came to that.
bool killed_at(const std::string& run, std::uintmax_t track_bytes, bool resume) {
  RunningProgram replay(
      "replay " + night().film() + kTimes + " --run " + run + (resume ? " --resume" : ""),
      "/dev/null");
  REQUIRE(await([&] {
    return !replay.is_running() ||
           (std::filesystem::exists(run) && size_of(run + "/track.csv") >= track_bytes);
  }));
  if (replay.is_running()) replay.send(SIGKILL);
  return replay.status() == 128 + SIGKILL;
}

void check_resumes(const std::string& run) {
  const auto resumed =
      nightswing_command("replay " + night().film() + kTimes + " --resume --run " + run);
  REQUIRE_MESSAGE(resumed.status == 0, resumed.errors);
  check_same_as_whole(run);
}

}  // namespace

TEST_SUITE("resume") {
  TEST_CASE("a replay killed at any moment goes on with --resume and ends the same to the byte") {
    const auto whole = size_of(night().run() + "/track.csv");
    REQUIRE(own_events(night().run()).find("camera moved") != std::string::npos);
    REQUIRE(own_events(night().run()).find("spot found") != std::string::npos);
    REQUIRE(own_events(night().run()).find("calibrated") != std::string::npos);
    for (const std::uintmax_t bytes :
         {std::uintmax_t{0}, std::uintmax_t{1}, whole / 50, whole / 3, whole * 7 / 10, whole}) {
      CAPTURE(bytes);
      const TemporaryFolder folder;
      const std::string run = (folder / "run").string();
      CHECK(killed_at(run, bytes, false));
      check_resumes(run);
    }
  }

  TEST_CASE("a replay killed again and again while it goes on ends the same too") {
    const auto whole = size_of(night().run() + "/track.csv");
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    CHECK(killed_at(run, whole / 9, false));
    CHECK(killed_at(run, 0, true));  // before it has written anything new
    for (const std::uintmax_t ninths : {2U, 4U, 5U, 8U}) {
      CHECK(killed_at(run, whole * ninths / 9, true));
    }
    check_resumes(run);
    check_resumes(run);  // nothing left to do
  }

  TEST_CASE("files that lost their ends at different places are made whole") {
    // A power cut: what was not on the disk yet is gone, of each file another length, in mid-line.
    std::mt19937_64 random(5);
    for (int round = 0; round < 6; ++round) {
      CAPTURE(round);
      const TemporaryFolder folder;
      const std::string run = (folder / "run").string();
      std::filesystem::copy(night().run(), run, std::filesystem::copy_options::recursive);
      for (const char* name : {"/track.csv", "/camera.csv", "/events.csv"}) {
        std::uniform_int_distribution<std::uintmax_t> length(0, size_of(run + name));
        std::filesystem::resize_file(run + name, length(random));
      }
      if (round % 2 == 0) std::filesystem::remove(run + "/wall.yaml");
      check_resumes(run);
    }
  }

  TEST_CASE("marks and a calibration made meanwhile are kept") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    REQUIRE(killed_at(run, size_of(night().run() + "/track.csv") / 2, false));
    REQUIRE(nightswing_command("mark " + run + " plus --at 0s").status == 0);
    REQUIRE(nightswing_command("calibrate " + run + " --point 100,180=100mm --point 500,180=421mm")
                .status == 0);
    const std::string map = read_whole_file(run + "/wall.yaml");
    const auto resumed =
        nightswing_command("replay " + night().film() + kTimes + " --resume --run " + run);
    REQUIRE_MESSAGE(resumed.status == 0, resumed.errors);
    CHECK((read_whole_file(run + "/wall.yaml") == map));
    const std::string events = read_whole_file(run + "/events.csv");
    CHECK(events.find("2026-03-14T21:30:00.000Z,0,side,plus\n") != std::string::npos);
    CHECK(events.find(",resumed,after ") != std::string::npos);
  }

  TEST_CASE("another film, other options and a run that is still going on are refused") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    std::filesystem::copy(night().run(), run, std::filesystem::copy_options::recursive);
    const auto refusal = [&](const std::string& arguments) {
      const auto result = nightswing_command("replay " + arguments + " --resume --run " + run);
      CHECK(result.status == 1);
      return result.errors;
    };
    CHECK(refusal(night().film() + " --frame-every 4s --quiet")
              .find("was begun with 'one frame every 5 s', not 'one frame every 4 s'") !=
          std::string::npos);
    const std::string other = (folder / "other.mp4").string();
    const auto made = run_command("ffmpeg -v error -i " + night().film() +
                                  " -vf hflip -c:v libx264 -preset ultrafast " + other);
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    CHECK(refusal(other + kTimes).find("track.csv cannot be gone on with") != std::string::npos);
    const std::string half = (folder / "half.mp4").string();
    const auto cut =
        run_command("ffmpeg -v error -i " + night().film() + " -frames:v 300 -c copy " + half);
    REQUIRE_MESSAGE(cut.status == 0, cut.errors);
    CHECK(refusal(half + kTimes).find("the track goes on after the 300 frames") !=
          std::string::npos);
    check_same_as_whole(run);  // none of these has touched it
    const nightswing::tracker::RunLock lock({run});
    CHECK(refusal(night().film() + kTimes).find("another program is still tracking into") !=
          std::string::npos);
  }
}
