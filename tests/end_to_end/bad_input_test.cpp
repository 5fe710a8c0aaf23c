// What a newcomer does wrong: each gives one clear sentence on stderr and exit status 1.
#include <algorithm>
#include <fstream>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"

using namespace nightswing::test;

namespace {

/// One line, with our name before it, and no other output.
void check_refused(const CommandResult& result, const std::string& expected, int status = 1) {
  CHECK(result.status == status);
  CHECK(result.errors == "nightswing: " + expected + "\n");
  CHECK(std::ranges::count(result.errors, '\n') == 1);
}

CommandResult analyse_with(const TemporaryFolder& folder, const std::string& apparatus) {
  make_synthetic_run(folder / "run");
  write_text(folder / "a.yaml", apparatus);
  return nightswing_command("analyse " + (folder / "run").string() + " --apparatus " +
                            (folder / "a.yaml").string() + " --side plus@0s --side minus@2h");
}

std::string with(const std::string& from, const std::string& to) {
  std::string text = good_apparatus();
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

}  // namespace

TEST_SUITE("bad input") {
  TEST_CASE("the fixture itself is measured, so that what follows fails for its own reason") {
    const TemporaryFolder folder;
    const auto result = analyse_with(folder, good_apparatus());
    CHECK_MESSAGE(result.status == 0, result.errors);
    CHECK(read_json(folder / "run/result.json")["status"] == "measured");
  }

  TEST_CASE("a missing file") {
    const TemporaryFolder folder;
    check_refused(nightswing_command("replay " + (folder / "none.mp4").string() + " --run " +
                                     (folder / "run").string()),
                  "there is no file " + (folder / "none.mp4").string());
  }

  TEST_CASE("a file that is no video") {
    const TemporaryFolder folder;
    const std::string text = (folder / "text.mp4").string();
    write_text(text, "not a video\n");
    check_refused(nightswing_command("replay " + text + " --run " + (folder / "run").string()),
                  text +
                      " cannot be read as a video; if its recorder was cut off the file was not "
                      "closed and its index is missing, else convert it to H.264 in MP4");
    CHECK_FALSE(std::filesystem::exists(folder / "run"));
  }

  TEST_CASE("the demo night without its pace, though the sources move in it") {
    const TemporaryFolder folder;
    const std::string clip = std::string(NIGHTSWING_SOURCE_DIR) + "/demo_video/night/night.mp4";
    const auto refused =
        nightswing_command("replay " + clip + " --quiet --run " + (folder / "run").string());
    CHECK(refused.status == 1);
    // 606.2 s beside the sources (truth.json) at 25 frames a second of 5 s each, shown to a tenth.
    CHECK(swing_told_s(refused.errors) == within_abs(4.85, 0.051));
  }

  TEST_CASE("an empty file, an empty name") {
    const TemporaryFolder folder;
    const std::string video = (folder / "zero.mp4").string();
    write_text(video, "");
    check_refused(nightswing_command("replay " + video + " --run " + (folder / "run").string()),
                  video + " is empty: 0 bytes");
    const std::string clip = std::string(NIGHTSWING_SOURCE_DIR) + "/demo_video/night/night.mp4";
    check_refused(nightswing_command("replay " + clip + " --run ''"),
                  "--run is empty; name a folder for this night",
                  2);
  }

  TEST_CASE("a place outside the picture, a picture that is not there") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_synthetic_run(run);
    check_refused(
        nightswing_command("calibrate " + run + " --point 1280,10=0mm --point 20,10=9mm"),
        "--point 1280,10=0mm: the pixel lies outside the picture of 1280 x 720 pixels; write "
        "x_px,y_px=reading such as 412.5,388.0=120mm, or x_px,y_px=x,y for a place on the wall");
    const std::string wall = (folder / "wall.png").string();
    const auto made =
        run_command("ffmpeg -v error -f lavfi -i color=gray:size=1280x720 -frames:v 1 " + wall);
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    check_refused(
        nightswing_command("calibrate " + run + " --picture " + wall + " --ruler 120,900:1180,900"),
        "--ruler: the line lies outside the picture of 1280 x 720 pixels; give two "
        "pixels on the ruler's edge inside it");
    check_refused(nightswing_command("calibrate " + run + " --picture " + run + "/none.png"),
                  "there is no file " + run + "/none.png");
    const auto wrong_usage = nightswing_command("calibrate " + run + " --point-u 0");
    CHECK(wrong_usage.status == 2);
    CHECK(wrong_usage.errors.find("'0' is no number of pixels above zero") != std::string::npos);
  }

  TEST_CASE("a video without frames") {
    const TemporaryFolder folder;
    const std::string video = (folder / "empty.mkv").string();
    const auto made = run_command(
        "ffmpeg -v error -f lavfi -i testsrc=size=160x120:rate=10 -frames:v 3 -c:v mjpeg " + video);
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    std::filesystem::resize_file(video, 700);  // the head of the file is whole, the first frame not
    check_refused(nightswing_command("replay " + video + " --run " + (folder / "run").string()),
                  video + " holds no frame that can be read");
  }

  TEST_CASE("no spot anywhere") {
    const TemporaryFolder folder;
    const std::string video = (folder / "wall.mp4").string();
    const auto made = run_command(
        "ffmpeg -v error -f lavfi -i color=gray:size=320x240:rate=10:duration=2 "
        "-vf noise=alls=4:allf=t -c:v libx264 -pix_fmt yuv420p " +
        video);
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    const std::string run = (folder / "run").string();
    check_refused(nightswing_command("replay " + video + " --quiet --run " + run),
                  "no spot was found in any of the 20 frames of " + video + "; look at " + run +
                      "/frames/first.png and check that the laser spot is in the picture and "
                      "brighter than the wall");
  }

  TEST_CASE("an unknown key") {
    const TemporaryFolder other;
    check_refused(analyse_with(other, with("boom: {", "boom: {colour: 3, ")),
                  (other / "a.yaml").string() +
                      ":4: unknown key 'colour' in boom; known here: arm, rod, mirror_inertia");
    const TemporaryFolder folder;
    check_refused(analyse_with(folder, with("arm:", "arn:")),
                  (folder / "a.yaml").string() +
                      ":4: the key 'arm' is missing in boom; is 'arn' in line 4 meant for it?");
  }

  TEST_CASE("a missing key") {
    const TemporaryFolder folder;
    const auto result = analyse_with(folder, with("separation: 52.0(3) mm\n", ""));
    CHECK(result.status == 1);
    CHECK(result.errors.find("separation") != std::string::npos);
    CHECK(std::ranges::count(result.errors, '\n') == 1);
  }

  TEST_CASE("a wrong unit") {
    const TemporaryFolder folder;
    check_refused(
        analyse_with(folder, with("52.0(3) mm", "52.0(3) kg")),
        (folder / "a.yaml").string() + ":5: separation is a length, but '52.0(3) kg' is a mass");
  }

  TEST_CASE("a negative mass") {
    const TemporaryFolder folder;
    const auto result = analyse_with(folder, with("2.213(1) kg", "-2.213(1) kg"));
    CHECK(result.status == 1);
    CHECK(result.errors.starts_with("nightswing: " + (folder / "a.yaml").string() +
                                    ":2: source_masses.mass "));
    CHECK(std::ranges::count(result.errors, '\n') == 1);
  }

  TEST_CASE("masses that touch") {
    const TemporaryFolder folder;
    const auto result = analyse_with(folder, with("52.0(3) mm", "44.0(3) mm"));
    CHECK(result.status == 1);
    CHECK(result.errors.starts_with("nightswing: " + (folder / "a.yaml").string() +
                                    ":5: separation "));
    CHECK(result.errors.find(" 45 mm") != std::string::npos);  // 72/2 + 18/2
    CHECK(std::ranges::count(result.errors, '\n') == 1);
  }

  TEST_CASE("one segment only") {
    const TemporaryFolder folder;
    make_synthetic_run(folder / "run");
    write_text(folder / "a.yaml", good_apparatus());
    check_refused(
        nightswing_command("analyse " + (folder / "run").string() + " --apparatus " +
                           (folder / "a.yaml").string() + " --side plus@0s"),
        "the night has one side only (plus from 60 s to 14395 s); the rest position changes at "
        "7198 s (within about 60 s), where no move of the sources is marked; mark it if they were "
        "moved; G needs plus and minus: name each "
        "move with 'nightswing mark RUN minus --at 2h5m' or --side minus@2h5m, or give no sides at "
        "all to have them found from the track");
  }

  TEST_CASE("marks outside the track are told of in both results and do not count") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_synthetic_run(run);
    write_text(folder / "a.yaml", good_apparatus());
    const auto analysed =
        nightswing_command("analyse " + run + " --apparatus " + (folder / "a.yaml").string() +
                           " --side plus@0s --side minus@2h --side plus@5h");
    REQUIRE_MESSAGE(analysed.status == 0, analysed.errors);
    const std::string told =
        "side plus at 18000 s was marked after the last position of the track (14395 s)";
    const auto result = read_json(run + "/result.json");
    CHECK(result["status"] == "measured");
    CHECK(result["segments"].size() == 2);
    const std::vector<std::string> warnings = result["warnings"];
    CHECK(std::ranges::count(warnings, told) == 1);
    CHECK(analysed.output.find("\nwarnings\n") != std::string::npos);
    CHECK(analysed.output.find("    " + told + "\n") != std::string::npos);
    CHECK(analysed.output.find("-0.0 %") == std::string::npos);
  }

  TEST_CASE("no apparatus, no run, no scale") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    check_refused(nightswing_command("analyse " + run),
                  run +
                      " is no run folder (it has no run.yaml); make one with 'nightswing replay "
                      "VIDEO --run " +
                      run + "'");
    make_synthetic_run(run);
    check_refused(
        nightswing_command("analyse " + run),
        "which balance? name its file, a copy of configs/basement.yaml with your numbers: "
        "nightswing analyse " +
            run + " --apparatus my_balance.yaml");
    std::filesystem::remove(folder / "run/wall.yaml");
    write_text(folder / "a.yaml", good_apparatus());
    const auto result =
        nightswing_command("analyse " + run + " --apparatus " + (folder / "a.yaml").string());
    CHECK(result.status == 1);
    CHECK(result.errors.find("run 'nightswing calibrate " + run) != std::string::npos);
  }

  TEST_CASE("a mark that is not there cannot be withdrawn, one that is there can") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_synthetic_run(run);
    REQUIRE(nightswing_command("mark " + run + " minus --at 2h").status == 0);
    check_refused(nightswing_command("mark " + run + " plus --at 2h --withdraw"),
                  run +
                      "/events.csv holds no mark plus at 7200.000 s to withdraw; it holds minus "
                      "at 7200 s");
    CHECK(nightswing_command("mark " + run + " minus --at 120m --withdraw").output ==
          run + "/events.csv: withdrawn: source masses at minus from 7200.0 s on\n");
    check_refused(nightswing_command("mark " + run + " minus --at 2h --withdraw"),
                  run + "/events.csv holds no mark minus at 7200.000 s to withdraw; it holds none");
  }

  TEST_CASE("words that are wrong whatever the files say are wrong usage too, in one sentence") {
    const std::string basement = std::string(NIGHTSWING_SOURCE_DIR) + "/configs/basement.yaml";
    const auto refused = [](const std::string& command, const std::string& text) {
      check_refused(nightswing_command(command), text, 2);
    };
    const std::string target = "--target must be above 0 and at most 30 %, as in 1%, but is '1.5'";
    refused("plan " + basement + " --target 1.5", target);
    refused("watch --camera 0 --run r --target 1.5", target);
    refused("plan " + basement + " --noise 3kg", "--noise is a length, but '3kg' is a mass");
    refused("watch --camera 0 --run r --every 20s",
            "--every 20s: at most 10 s, or the swing itself is averaged out");
    refused("watch --camera 0 --run r --page x",
            "--page x: the address is a port such as 8080, or with an IP address before it, such "
            "as 127.0.0.1:8080 or [::1]:8080");
    for (const char* command : {"aim", "watch --run r"}) {  // before any camera is looked for
      refused(std::string(command) + " --camera none --bar x",
              "--bar 'x' is no length with its unit: write what the bar measures and how well, "
              "such as --bar '199.4(2) mm'; 200 mm, on a portrait sheet 160 mm, if the printer "
              "kept the size");
    }
    refused("scale -o a.doc",
            "'a.doc' ends neither in .pdf nor in .svg, so its format is not known; write for "
            "example -o scale.pdf");
    refused("replay a.mp4 --run r --average 20s",
            "--average 20 s: give more than 0 and at most 10 s, or the swing itself is averaged "
            "out");
    const std::string ends = "replay a.mp4 --run r --end 2026-03-14T20:30:00Z";
    refused(ends + " --start 2026-03-14T21:30:00Z",
            "--end 2026-03-14T20:30:00.000Z is not later than --start 2026-03-14T21:30:00.000Z: a "
            "night that goes past midnight ends on the next day");
    refused(ends + " --start 2026-03-14T19:30:00Z --frame-every 5s",
            "--frame-every tells the pace, and so does --end with --start: leave one of them out");
  }

  TEST_CASE("a file that is not there is said to be none") {
    check_refused(nightswing_command("plan none.yaml"),
                  "there is no file none.yaml; look where it lies and how it is written");
  }

  TEST_CASE("a mark after the end of the night is refused, one within it is not") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_synthetic_run(run);
    nightswing::tracker::EventWriter(run + "/events.csv").append({{}, 14395.0, "ended", "all"});
    check_refused(nightswing_command("mark " + run + " minus --at 99h"),
                  "--at 99h is after the end of " + run +
                      ", which was watched for 4 h 00 min: a mark there would tell nothing; give "
                      "the moment since its first frame");
    CHECK(nightswing_command("mark " + run + " minus --at 2h").status == 0);
    // The same once more adds nothing, the other side at the same moment takes its place and says
    // so.
    const std::string log = nightswing::tracker::read_whole_file(run + "/events.csv");
    CHECK(nightswing_command("mark " + run + " minus --at 120m").status == 0);
    CHECK(nightswing::tracker::read_whole_file(run + "/events.csv") == log);
    CHECK(nightswing_command("mark " + run + " plus --at 2h")
              .output.starts_with("minus was marked at this moment before; the later mark counts"));
  }

  TEST_CASE("a mark long before the night is refused, as its date is wrong") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_synthetic_run(run);
    std::ofstream(run + "/run.yaml", std::ios::app) << "start: 2026-03-14T21:30:00Z\n";
    const auto refused = nightswing_command("mark " + run + " plus --at 2020-01-01T00:00:00Z");
    CHECK(refused.status == 1);
    CHECK(refused.errors.find("before the first frame of " + run + "; is the date right?") !=
          std::string::npos);
  }

  TEST_CASE("a broken line of the log is named where it is why the night cannot be analysed") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_synthetic_run(run);
    write_text(folder / "a.yaml", good_apparatus());
    REQUIRE(nightswing_command("mark " + run + " plus --at 0s").status == 0);
    std::ofstream(run + "/events.csv", std::ios::app) << ",72oo,side,minus\n";
    const auto failed =
        nightswing_command("analyse " + run + " --apparatus " + (folder / "a.yaml").string());
    CHECK(failed.status == 1);
    CHECK(failed.errors.find("line passed over: '72oo' is not a number") != std::string::npos);
  }

  TEST_CASE("a calibration that measures otherwise than the one it replaces says so") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_synthetic_run(run);
    const std::string far = "calibrate " + run + " --point 100,200=0mm --point 300,200=";
    REQUIRE(nightswing_command(far + "100mm").status == 0);
    CHECK(nightswing_command(far + "101mm").errors.empty());
    CHECK(nightswing_command(far + "150mm").errors.find("warning: a pixel is 1.485 times") !=
          std::string::npos);
  }

  TEST_CASE("an address longer than any path is still one") {
    const TemporaryFolder folder;
    const auto result =
        nightswing_command("replay http://127.0.0.1:9/?token=" + std::string(400, 'a') + " --run " +
                           (folder / "run").string());
    CHECK(result.status == 1);
    CHECK(result.errors.find("127.0.0.1:9") != std::string::npos);
    CHECK(result.errors.find("fault of its own") == std::string::npos);
  }

  TEST_CASE("a film that nobody could find, open or see through is refused before it is made") {
    const TemporaryFolder folder;
    const std::string film = "film " + make_analysed_run(folder.path()) + " --quiet --seconds 2 ";
    check_refused(nightswing_command(film + "-o film.txt"),
                  "-o film.txt: a film is written as MP4 (H.264); give it a name that ends in .mp4",
                  2);
    const std::string nowhere = (folder / "nowhere").string();
    check_refused(nightswing_command(film + "-o " + nowhere + "/film.mp4"),
                  "-o " + nowhere + "/film.mp4: there is no folder " + nowhere +
                      "; make it, or name another");
    check_refused(nightswing_command(film + "--caption 99h=late"),
                  "the caption 'late' at 356400 s lies outside the night, which goes from 0 s to "
                  "14395 s (4 h 00 min); give it a moment within");
    const auto short_film = nightswing_command(film + "--seconds 1");
    CHECK(short_film.status == 2);
    CHECK(short_film.errors.find("a film lasts from 2 to 3600 seconds, not '1'") !=
          std::string::npos);
  }

  TEST_CASE("a word that is not understood is wrong usage, exit status 2") {
    CHECK(nightswing_command("").status == 2);
    const auto no_command = nightswing_command("measure");
    CHECK(no_command.status == 2);
    CHECK(no_command.errors == "'measure' is no command of nightswing; see nightswing --help\n");
    CHECK(nightswing_command("replay").status == 2);
    CHECK(nightswing_command("replay a.mp4 --run r --frame-every soon").status == 2);
    CHECK(nightswing_command("mark r left --at 0s").status == 2);
    CHECK(nightswing_command("--help").status == 0);
    for (const char* command : {"replay", "calibrate", "mark", "analyse"}) {
      const auto help = nightswing_command(std::string(command) + " --help");
      CHECK(help.status == 0);
      CHECK(help.output.find("Example: nightswing " + std::string(command)) != std::string::npos);
    }
  }
}
