// What a night leaves for other programs and for people, through the command line.
#include <algorithm>
#include <filesystem>
#include <sstream>

#include <doctest/doctest.h>
#include <fmt/format.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/film/film_contents.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/run/track_file.h"

using namespace nightswing::test;

namespace {

const std::string kHere = std::string(NIGHTSWING_SOURCE_DIR) + "/tests/end_to_end/";
const std::string kSchema = std::string(NIGHTSWING_SOURCE_DIR) + "/configs/result.schema.json";

CommandResult validate(const std::string& result) {
  return run_command("/usr/bin/python3 " + kHere + "validate_result.py " + kSchema + " " + result);
}

}  // namespace

TEST_SUITE("what a night leaves") {
  TEST_CASE("result.json obeys its schema, with and without G") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const auto measured = validate(run + "/result.json");
    CHECK_MESSAGE(measured.status == 0, (measured.output + measured.errors));
    REQUIRE(read_json(run + "/result.json")["status"] == "measured");

    // The sources never moved: a true night on one side, cut in two by false marks.
    REQUIRE(
        nightswing_command("analyse --quiet " + run + " --side plus@2h1m --side minus@3h").status ==
        0);
    REQUIRE(read_json(run + "/result.json")["status"] == "no shift found");
    const auto without = validate(run + "/result.json");
    CHECK_MESSAGE(without.status == 0, (without.output + without.errors));
  }

  TEST_CASE("the schema refuses a result that lacks something or has it wrong") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const auto good = read_json(run + "/result.json");
    const auto refused = [&](const nlohmann::json& bad, const std::string& about) {
      write_text(folder / "bad.json", bad.dump());
      const auto verdict = validate((folder / "bad.json").string());
      CHECK(verdict.status == 1);
      CHECK_MESSAGE(verdict.output.find(about) != std::string::npos, verdict.output);
    };
    auto bad = good;
    bad["G"] = nullptr;
    refused(bad, "G");
    bad = good;
    bad.erase("budget");
    refused(bad, "budget");
    bad = good;
    bad["shift_mm"]["u"] = -1.0;
    refused(bad, "shift_mm/u");
    bad = good;
    bad["segments"][0]["side"] = "left";
    refused(bad, "segments/0/side");
    bad = good;
    bad["status"] = "done";
    refused(bad, "status");
    bad = good;
    bad["mood"] = "good";
    refused(bad, "'mood' was unexpected");
    bad = good;
    bad["budget"][0]["mood"] = "good";
    refused(bad, "budget/0: Additional properties");
  }

  TEST_CASE("track, events and the data of every figure load into pandas") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    REQUIRE(nightswing_command("mark " + run + " plus --at 0s").status == 0);
    const auto read = run_command("/usr/bin/python3 " + kHere + "read_tables.py " + run);
    REQUIRE_MESSAGE(read.status == 0, read.errors);
    std::istringstream words(read.output);
    std::size_t rows = 0;
    std::string numbers;
    double sum_px = 0.0;
    int tables = 0;
    words >> rows >> numbers >> sum_px >> tables;
    const auto track = nightswing::tracker::read_track(run + "/track.csv");
    CHECK(rows == track.rows.size());
    CHECK(numbers == "t_s,x_px,y_px,u_x_px,u_y_px,peak,width_px");
    double expected_px = 0.0;
    for (const auto& row : track.rows) expected_px += row.spot.position->x_px;
    CHECK(sum_px == within_rel(expected_px, 1e-12));  // the same numbers, another order of adding
    CHECK(tables == 10);  // every figure but the photograph, which this run does not have
  }

  TEST_CASE("result.txt fits one page of a lab notebook") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const std::string page = nightswing::tracker::read_whole_file(run + "/result.txt");
    std::istringstream text(page);
    std::size_t lines = 0;
    for (std::string line; std::getline(text, line); ++lines) {
      // A4 upright with letters of 9 points: 100 a line, 66 lines (common practice, no source)
      CHECK_MESSAGE(line.size() <= 100, line);
    }
    CHECK(lines > 20);
    CHECK_MESSAGE(lines <= 66, page);
  }

  TEST_CASE("a blinded run shows every G with the same hidden factor, until it is opened") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const auto open = read_json(run + "/result.json");
    CHECK(open["blinded"] == false);
    CHECK(std::filesystem::exists(run + "/plots/comparison.csv"));

    write_text(run + "/blind.yaml", "hidden_factor: 1.07\n");  // as drawn by an earlier --blind
    write_text(run + "/film.mp4", "of an analysis before\n");
    const auto blinded =
        nightswing_command("analyse " + run + " --side plus@0s --side minus@2h --blind");
    REQUIRE_MESSAGE(blinded.status == 0, blinded.errors);
    const auto blind = read_json(run + "/result.json");
    CHECK(blind["blinded"] == true);
    const auto same = [](const nlohmann::json& hidden, const nlohmann::json& shown) {
      CHECK(hidden.get<double>() == within_rel(1.07 * shown.get<double>(), 1e-12));
    };
    same(blind["G"]["value"], open["G"]["value"]);
    same(blind["G"]["u"], open["G"]["u"]);
    same(blind["G"]["interval_95"][0], open["G"]["interval_95"][0]);
    same(blind["textbook_G"], open["textbook_G"]);
    same(blind["monte_carlo"]["mean"], open["monte_carlo"]["mean"]);
    same(blind["monte_carlo"]["shortest_95"][1], open["monte_carlo"]["shortest_95"][1]);
    same(blind["budget"][0]["sensitivity"], open["budget"][0]["sensitivity"]);
    REQUIRE(blind["other_ways"].size() >= 1);
    same(blind["other_ways"][0]["value"], open["other_ways"][0]["value"]);

    // Neither the true digits nor the accepted value where people look.
    CHECK(blinded.output.find("BLIND") != std::string::npos);
    CHECK(blinded.output.find("film.mp4 is from before") != std::string::npos);
    for (const char* file : {"result.txt", "report.html", "plots/budget.csv"}) {
      CAPTURE(file);
      const std::string text = nightswing::tracker::read_whole_file(run + "/" + file);
      for (const auto& hidden : {open["G"]["value"], open["textbook_G"]}) {
        const double eleven = 1e11 * hidden.get<double>();
        CHECK(text.find(fmt::format("{:.4f}", eleven)) == std::string::npos);
        CHECK(text.find(fmt::format("{:.3f}e-11", eleven)) == std::string::npos);
        CHECK(text.find(fmt::format("{:.3f}(", eleven)) == std::string::npos);
      }
      CHECK(text.find("accepted value") == std::string::npos);
    }
    CHECK_FALSE(std::filesystem::exists(run + "/plots/comparison.csv"));
    CHECK_FALSE(std::filesystem::exists(run + "/plots/comparison.png"));
    const auto valid = validate(run + "/result.json");
    CHECK_MESSAGE(valid.status == 0, (valid.output + valid.errors));

    REQUIRE(nightswing_command("analyse --quiet " + run + " --side plus@0s --side minus@2h --open")
                .status == 0);
    CHECK(read_json(run + "/result.json")["G"] == open["G"]);
    CHECK(nightswing::tracker::read_whole_file(run + "/result.txt")
              .find("film.mp4 is from before and may show G with the hidden factor") !=
          std::string::npos);
    const auto film = nightswing::tracker::film_contents({run});
    CHECK_FALSE(film.blinded);
    // Shown to two digits of u, so off by u/20 at most.
    CHECK(std::stod(film.g_text) == within_abs(1e11 * open["G"]["value"].get<double>(),
                                               1e11 * open["G"]["u"].get<double>() / 20));
    const auto not_blind = nightswing_command("analyse " + run + " --open");
    CHECK(not_blind.status == 1);
    CHECK(not_blind.errors ==
          "nightswing: " + run +
              " is not blind, so there is no hidden factor to take off; leave --open out\n");
  }

  TEST_CASE("the report repeats with the calibration by hand and the apparatus that counted") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    REQUIRE(nightswing_command("calibrate " + run +
                               " --point '100,360=40 mm' --point 900,360=360mm --point-u 0.25")
                .status == 0);
    REQUIRE(nightswing_command("mark " + run + " plus --at 0s").status == 0);
    REQUIRE(nightswing_command("mark " + run + " minus --at 2h").status == 0);
    REQUIRE(nightswing_command("analyse --quiet " + run).status == 0);
    const std::string report = nightswing::tracker::read_whole_file(run + "/report.html");
    const std::string commands =
        "nightswing replay synthetic --frame-every 5s --run " + run +
        "-again\nnightswing calibrate " + run +
        "-again --point &#39;100,360=40 mm&#39; --point 900,360=360mm --point-u 0.25\n"
        "nightswing mark " +
        run + "-again plus --at 0s\nnightswing mark " + run +
        "-again minus --at 7200s\nnightswing analyse " + run + "-again --apparatus " + run +
        "/apparatus.yaml --settle 60s\n</pre>";
    CHECK_MESSAGE(report.find(commands) != std::string::npos,
                  report.substr(report.find("How to repeat")));
    // Its line in the log has the time at which it was made.
    const auto log = nightswing::tracker::read_events(run + "/events.csv");
    const auto calibrated =
        std::ranges::find(log.events, "calibrated", &nightswing::tracker::Event::event);
    REQUIRE(calibrated != log.events.end());
    CHECK(calibrated->utc.has_value());
  }

  TEST_CASE("with --side, report and film show the sides of the analysis, not the marks") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    REQUIRE(nightswing_command("mark " + run + " plus --at 0s").status == 0);
    REQUIRE(nightswing_command("mark " + run + " minus --at 2h").status == 0);
    REQUIRE(nightswing_command("analyse --quiet " + run).status == 0);
    const auto before = nightswing::tracker::film_contents({run}).sides;
    REQUIRE(before.size() == 2);
    CHECK(before[0].side == "plus");
    // The marks of the run are plus and minus; here they are turned round.
    const auto turned =
        nightswing_command("analyse --quiet " + run + " --side minus@0s --side plus@2h");
    REQUIRE_MESSAGE(turned.status == 0, turned.errors);
    const auto sides = nightswing::tracker::film_contents({run}).sides;
    REQUIRE(sides.size() == 2);
    CHECK(sides[0].side == "minus");
    CHECK(sides[1].side == "plus");
    const std::string report = nightswing::tracker::read_whole_file(run + "/report.html");
    CHECK(report.find("\"mark, not used\"") != std::string::npos);
    CHECK(report.find("{\"event\":\"sources at minus\",\"t_h\":0.0}") != std::string::npos);
    CHECK(report.find("{\"event\":\"sources at plus\",\"t_h\":0.0}") == std::string::npos);
  }

  TEST_CASE("the film command leaves a film, drawn where there is no video") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const auto made = nightswing_command("film " + run + " --seconds 2 --quiet");
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    CHECK(made.output.find("60 frames of 1920 x 1080 px, wall drawn") != std::string::npos);
    CHECK(std::filesystem::file_size(run + "/film.mp4") > 10000);
    CHECK(
        nightswing_command("film " + run + " --seconds 2 --quiet --caption '1h=Half-way'").status ==
        0);
    CHECK(nightswing_command("film " + run + " --caption 'no moment'").status == 2);
    CHECK(nightswing_command("film " + run + " --caption soon=now").status == 2);
  }
}
