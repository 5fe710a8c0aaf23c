// The files of a run folder: line_file, track_file, event_log, run_folder.
#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <fstream>
#include <string>
#include <thread>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/error_text.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/run/run_folder.h"
#include "tracker/run/track_file.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

TrackRow measured_row(double t_s) {
  return {
      .utc = parse_iso_time("2026-03-14T21:30:00.250Z"),
      .t_s = t_s,
      .spot = {SpotState::kClipped, SpotPosition{640.12345, 360.5, 0.0123, 0.0234, 310.5, 5.1}}};
}

}  // namespace

TEST_SUITE("track_file") {
  TEST_CASE("what is written is read back") {
    const TemporaryFolder folder;
    {
      TrackWriter writer(folder / "track.csv");
      writer.append(measured_row(0.0));
      writer.append({.utc = {}, .t_s = 5.0, .spot = {SpotState::kLost, std::nullopt}});
    }
    {
      TrackWriter again(folder / "track.csv");  // goes on below the same header
      again.append(measured_row(10.0));
    }
    const Track track = read_track(folder / "track.csv");
    CHECK(track.warnings.empty());
    REQUIRE(track.rows.size() == 3);
    CHECK(track.rows[0].spot == measured_row(0.0).spot);
    CHECK(track.rows[0].utc == measured_row(0.0).utc);
    CHECK(track.rows[1].spot.state == SpotState::kLost);
    CHECK_FALSE(track.rows[1].spot.position);
    CHECK_FALSE(track.rows[1].utc);
    CHECK(track.rows[2].t_s == 10.0);
  }

  TEST_CASE("a track that is still written is read on where the last reading ended") {
    const TemporaryFolder folder;
    TrackTail tail(folder / "track.csv");
    CHECK(tail.read(10).empty());  // no file yet
    TrackWriter writer(folder / "track.csv");
    CHECK(tail.read(10).empty());
    for (const double t_s : {0.0, 5.0, 10.0}) writer.append(measured_row(t_s));
    const auto two = tail.read(2);
    REQUIRE(two.size() == 2);
    CHECK(two[1].t_s == 5.0);
    CHECK(tail.read(10).size() == 1);
    {
      std::ofstream half(folder / "track.csv", std::ios::app);
      half << "damaged\n,15,,,,,,,da";  // a line that is none, and one still being written
    }
    CHECK(tail.read(10).empty());
    {
      std::ofstream rest(folder / "track.csv", std::ios::app);
      rest << "rk\n";
    }
    const auto last = tail.read(10);
    REQUIRE(last.size() == 1);
    CHECK(last[0].t_s == 15.0);
    CHECK(last[0].spot.state == SpotState::kDark);
  }

  TEST_CASE("the file is the documented one, to the letter") {
    const TemporaryFolder folder;
    TrackWriter writer(folder / "track.csv");
    writer.append(measured_row(5.0));
    writer.append({.utc = {}, .t_s = 10.0, .spot = {SpotState::kDark, std::nullopt}});
    CHECK(read_whole_file(folder / "track.csv") ==
          "utc,t_s,x_px,y_px,u_x_px,u_y_px,peak,width_px,state\n"
          "2026-03-14T21:30:00.250Z,5,640.12345,360.5,0.0123,0.0234,310.5,5.1,clipped\n"
          ",10,,,,,,,dark\n");
  }

  TEST_CASE("damaged lines of a track are named and passed over, the rest is kept") {
    const TemporaryFolder folder;
    write_text(folder / "track.csv",
               "utc,t_s,x_px,y_px,u_x_px,u_y_px,peak,width_px,state\n"
               ",0,1,2,0.1,0.1,50,4,found\n"
               ",5,1,2,0.1,0.1,50\n"
               ",10,1,2,0.1,0.1,50,4,shiny\n"
               ",15,1,2,x,0.1,50,4,found\n"
               ",20,,,,,,,found\n"
               ",0,1,2,0.1,0.1,50,4,found\n"
               ",25,1,2,nan,0.1,50,4,found\n"
               ",30,1,2,0.1,0.1,50,4,found\n"
               ",35,1,2,0.1");
    const Track track = read_track(folder / "track.csv");
    REQUIRE(track.rows.size() == 2);
    CHECK(track.rows[1].t_s == 30.0);
    REQUIRE(track.warnings.size() == 7);
    CHECK(track.warnings[0].ends_with("track.csv:3: line passed over: not 9 fields"));
    CHECK(track.warnings[1].ends_with(":4: line passed over: unknown state 'shiny'"));
    CHECK(track.warnings[2].ends_with(":5: line passed over: 'x' is not a number"));
    CHECK(track.warnings[3].ends_with(
        ":6: line passed over: a measured spot without position or uncertainty"));
    CHECK(track.warnings[4].ends_with(":7: line passed over: time does not grow (0 s after 0 s)"));
    CHECK(track.warnings[5].ends_with(":8: line passed over: 'nan' is not a number"));
    CHECK(track.warnings[6].ends_with("the last line is torn and was passed over"));
  }

  TEST_CASE("of many damaged lines the first ten are named and the others counted") {
    const TemporaryFolder folder;
    std::string text = "utc,t_s,x_px,y_px,u_x_px,u_y_px,peak,width_px,state\n";
    for (int k = 0; k < 500; ++k) text += "rubbish\n";
    write_text(folder / "track.csv", text + ",0,1,2,0.1,0.1,50,4,found\n");
    const Track track = read_track(folder / "track.csv");
    CHECK(track.rows.size() == 1);
    REQUIRE(track.warnings.size() == 11);
    CHECK(track.warnings[9].ends_with("track.csv:11: line passed over: not 9 fields"));
    CHECK(track.warnings[10].ends_with("track.csv: 490 more lines passed over"));
  }

  TEST_CASE("a missing file and a foreign header are errors") {
    const TemporaryFolder folder;
    CHECK(error_text([&] {
            static_cast<void>(read_track(folder / "none.csv"));
          }).starts_with("cannot read "));
    write_text(folder / "track.csv", "time,x\n");
    CHECK(error_text([&] {
            static_cast<void>(read_track(folder / "track.csv"));
          }).find("track.csv:1: the header line is not 'utc,t_s,") != std::string::npos);
    CHECK(error_text([&] {
            TrackWriter writer(folder / "track.csv");
          }).find("use another run folder") != std::string::npos);
  }
}

TEST_SUITE("line_file") {
  TEST_CASE("a torn last line is cut off and reported before more is appended") {
    const TemporaryFolder folder;
    write_text(folder / "log", "head\nwhole\nto");
    LineFile file(folder / "log", "head");
    file.append("next");
    CHECK(file.torn_line() == "to");
    CHECK(read_whole_file(folder / "log") == "head\nwhole\nnext\n");
  }

  TEST_CASE("a line that another process is just writing is not taken for a torn one") {
    const TemporaryFolder folder;
    write_text(folder / "log", "head\nwhole\nto");
    const int descriptor = ::open((folder / "log").c_str(), O_WRONLY | O_APPEND);
    REQUIRE(descriptor >= 0);
    REQUIRE(::flock(descriptor, LOCK_EX) == 0);  // as LineFile does while it appends
    std::string torn = "not opened";
    std::thread other([&] {
      LineFile file(folder / "log", "head");
      torn = file.torn_line();
      file.append("next");
    });
    REQUIRE(::write(descriptor, "rn\n", 3) == 3);
    REQUIRE(::close(descriptor) == 0);
    other.join();
    CHECK(torn.empty());
    CHECK(read_whole_file(folder / "log") == "head\nwhole\ntorn\nnext\n");
  }

  TEST_CASE("a file that went through a spreadsheet is read, one with semicolons is told") {
    const TemporaryFolder folder;
    write_text(folder / "events.csv",
               "\xef\xbb\xbfutc,t_s,event,detail\r\n,0,side,plus\r\n,7500,side,minus\r\n");
    EventLog log = read_events(folder / "events.csv");
    CHECK(log.warnings.empty());
    REQUIRE(side_changes_in(log).size() == 2);
    EventWriter(folder / "events.csv").append({{}, 9000.0, "side", "plus"});
    log = read_events(folder / "events.csv");
    CHECK(side_changes_in(log).size() == 3);
    write_text(folder / "events.csv", "utc;t_s;event;detail\n");
    CHECK(error_text([&] { static_cast<void>(read_events(folder / "events.csv")); }) ==
          (folder / "events.csv").string() +
              ":1: the fields stand between semicolons, as some spreadsheets save them; save the "
              "file with commas (and decimal points)");
  }

  TEST_CASE("lines that are repeated are not written twice, and what follows is") {
    const TemporaryFolder folder;
    write_text(folder / "log", "head\na\nb\nb\nto");
    LineFile file(folder / "log", "head", StandingLines::kRepeated);
    for (const char* line : {"a", "b", "b"}) {
      CHECK(file.is_repeating());
      file.append(line);
    }
    CHECK_FALSE(file.is_repeating());
    for (const char* line : {"b", "c", "c"}) file.append(line);
    CHECK(read_whole_file(folder / "log") == "head\na\nb\nb\nb\nc\nc\n");
  }

  TEST_CASE("a file that holds another line than the one repeated is left as it is") {
    const TemporaryFolder folder;
    write_text(folder / "log", "head\na\nb\n");
    LineFile file(folder / "log", "head", StandingLines::kRepeated);
    file.append("a");
    CHECK(error_text([&] { file.append("c"); }) ==
          (folder / "log").string() +
              " cannot be gone on with: it holds the line 'b' where 'c' belongs; was it another "
              "film, another version of the program, or edited? Track into a new folder");
    CHECK(read_whole_file(folder / "log") == "head\na\nb\n");
  }

  TEST_CASE("lines of others may stand between those that are repeated") {
    const TemporaryFolder folder;
    write_text(folder / "log", "head\na\nother\nb\nother\n");
    LineFile file(folder / "log", "head", StandingLines::kMixed);
    for (const char* line : {"a", "b", "b", "c", "c"}) file.append(line);
    CHECK(read_whole_file(folder / "log") == "head\na\nother\nb\nother\nb\nc\nc\n");
  }

  TEST_CASE("a folder that does not exist is an error with a sentence") {
    CHECK(error_text([] { LineFile file("/nonexistent/log", "head"); }) ==
          "cannot open /nonexistent/log: No such file or directory");
    CHECK(error_text([] { write_whole_file("/nonexistent/x", "y"); }) ==
          "cannot write /nonexistent/x: No such file or directory");
  }
}

TEST_SUITE("event_log") {
  TEST_CASE(
      "a mark that was withdrawn does not count, one at the same moment of another side does") {
    const TemporaryFolder folder;
    {
      EventWriter writer(folder / "events.csv");
      writer.append({{}, 0.0, "side", "plus"});
      writer.append({{}, 7200.0, "side", "minus"});
      writer.append({{}, 7200.0, "side withdrawn", "minus"});
      writer.append({{}, 7500.0, "side", "minus"});
      writer.append({{}, 7500.0, "side withdrawn", "plus"});
    }
    EventLog log = read_events(folder / "events.csv");
    const auto changes = side_changes_in(log);
    REQUIRE(changes.size() == 2);
    CHECK(changes[0].t_s == 0.0);
    CHECK(changes[1].side == nightswing::analysis::Side::kMinus);
    CHECK(changes[1].t_s == 7500.0);
    CHECK(log.warnings.empty());
  }

  TEST_CASE("side changes come back in order of time, a later line replaces an earlier one") {
    const TemporaryFolder folder;
    {
      EventWriter writer(folder / "events.csv");
      writer.append({{}, 0.0, "started", "night.mp4, with a comma"});
      writer.append({{}, 7500.0, "side", "minus"});
      writer.append({{}, 0.0, "side", "minus"});
      writer.append({{}, 0.0, "side", "plus"});
      writer.append({{}, {}, "side", "plus"});
      writer.append({{}, 9.0, "side", "left"});
    }
    EventLog log = read_events(folder / "events.csv");
    REQUIRE(log.events.size() == 6);
    CHECK(log.events[0].detail == "night.mp4, with a comma");
    const auto changes = side_changes_in(log);
    REQUIRE(changes.size() == 2);
    CHECK(changes[0].side == nightswing::analysis::Side::kPlus);
    CHECK(changes[0].t_s == 0.0);
    CHECK(changes[1].t_s == 7500.0);
    CHECK(log.warnings.size() == 2);  // the one without time, the one with an unknown side
  }

  TEST_CASE("no file is an empty log, lines that cannot be read are named") {
    const TemporaryFolder folder;
    CHECK(read_events(folder / "events.csv").events.empty());
    write_text(folder / "events.csv", "utc,t_s,event,detail\nx,y,z,w\n,1,side,plus\n,2,si");
    const EventLog log = read_events(folder / "events.csv");
    CHECK(log.events.size() == 1);
    CHECK(log.warnings.size() == 2);
  }
}

TEST_SUITE("run_folder") {
  TEST_CASE("run.yaml is read back as written") {
    const TemporaryFolder folder;
    const RunFolder run = create_run_folder(folder / "night");
    RunInfo info{.program = "nightswing 9.9",
                 .source = "a: strange, name.mp4",
                 .frame_width_px = 1280,
                 .frame_height_px = 720,
                 .rotation_deg = 90.0,
                 .time_from = "one frame every 5 s",
                 .start = parse_iso_time("2026-03-14T21:30:00Z"),
                 .start_from = "option --start"};
    write_run_info(run, info);
    const RunInfo read = read_run_info(open_run_folder(run.path));
    CHECK(read.source == info.source);
    CHECK(read.frame_width_px == 1280);
    CHECK(read.rotation_deg == 90.0);
    CHECK(read.start == info.start);
    CHECK(read.time_from == info.time_from);
    CHECK(read.start_from == info.start_from);
  }

  TEST_CASE("a run is not begun over a track, and a folder without run.yaml is no run") {
    const TemporaryFolder folder;
    write_text(folder / "track.csv", "");
    CHECK(error_text([&] { static_cast<void>(create_run_folder(folder.path())); }) ==
          folder.path().string() +
              " holds a track already; give --run another folder, or go on with a track that was "
              "interrupted with --resume");
    CHECK(error_text([&] {
            static_cast<void>(open_run_folder(folder.path()));
          }).find("is no run folder (it has no run.yaml)") != std::string::npos);
  }

  TEST_CASE("a run is not scattered over a folder of something else") {
    const TemporaryFolder folder;
    for (const char* name : {"letters", "night", "empty"}) {
      std::filesystem::create_directory(folder / name);
    }
    write_text(folder / "letters" / "to_grandma.txt", "Dear");
    CHECK(error_text([&] { static_cast<void>(resume_run_folder(folder / "letters")); }) ==
          (folder / "letters").string() +
              " is a folder of something else (it holds to_grandma.txt and nothing of a run); give "
              "--run a folder of its own, which need not be there yet");
    CHECK_FALSE(std::filesystem::exists(folder / "letters" / "frames"));
    write_text(folder / "night" / "apparatus.yaml", "");  // put there beforehand
    CHECK_NOTHROW(static_cast<void>(create_run_folder(folder / "night")));
    CHECK_NOTHROW(static_cast<void>(create_run_folder(folder / "empty")));
    // What was made before a program was killed is no hindrance.
    write_text(folder / "empty" / "run.yaml.new", "program: nights");
    CHECK_NOTHROW(static_cast<void>(create_run_folder(folder / "empty")));
  }

  TEST_CASE("a folder named frames makes no run, and what a new disk holds is nothing of anybody") {
    const TemporaryFolder folder;
    std::filesystem::create_directories(folder / "film" / "frames");
    write_text(folder / "film" / "frames" / "0001.png", "a picture of another program");
    CHECK(error_text([&] {
            static_cast<void>(run_folder_at(folder / "film"));
          }).find("it holds frames and nothing of a run") != std::string::npos);
    for (const char* name : {"lost+found", "System Volume Information", ".Trash-1000"}) {
      std::filesystem::create_directories(folder / "stick" / name);
    }
    CHECK_NOTHROW(static_cast<void>(run_folder_at(folder / "stick")));
    CHECK_NOTHROW(static_cast<void>(run_folder_at(folder / "not there")));
    CHECK_FALSE(std::filesystem::exists(folder / "not there"));
    CHECK_THROWS_AS(static_cast<void>(run_folder_at("")), nightswing::InputError);
  }

  TEST_CASE("an unknown key and a wrong number in run.yaml are named with their line") {
    const TemporaryFolder folder;
    const std::string good =
        "program: p\nsource: s\nframe_width_px: 1280\nframe_height_px: 720\nrotation_deg: 0\n"
        "time_from: t\nstart_from: u\n";
    write_text(folder / "run.yaml", good + "colour: red\n");
    CHECK(error_text([&] {
            static_cast<void>(read_run_info({folder.path()}));
          }).find("run.yaml:8: unknown key 'colour'") != std::string::npos);
    write_text(folder / "run.yaml", good + "start: yesterday\n");
    CHECK(error_text([&] {
            static_cast<void>(read_run_info({folder.path()}));
          }).find("run.yaml:8: start is no ISO 8601 time") != std::string::npos);
  }
}
