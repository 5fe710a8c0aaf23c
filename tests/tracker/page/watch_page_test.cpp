#include "tracker/page/watch_page.h"

#include <filesystem>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "tests/support/fake_clock.h"
#include "tests/support/made_up_run_info.h"
#include "tests/support/near.h"
#include "tests/support/raw_connection.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/camera_file.h"
#include "tracker/run/line_file.h"
#include "tracker/run/track_file.h"
#include "tracker/run/wall_file.h"
#include "tracker/wall/wall_calibration.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

constexpr double kStart_s = 1000.0;  // of the fake clock

/// A watch's page, and the watch played by the test.
struct Night {
  TemporaryFolder folder;
  FakeClock clock;
  RunFolder run = resume_run_folder(folder / "run");
  WatchPage watched{{.port = 0}, folder / "run", clock, "Look away from the laser."};

  Night() { write_run_info(run, made_up_run_info(320, 240, clock.utc())); }

  void see(double t_s, double x_px) {
    clock.now_s = kStart_s + t_s + 0.05;  // what it takes to measure it
    WatchStatus status{
        .t_s = t_s + 0.05, .picture_t_s = t_s, .pictures = 1, .free_bytes = 4'200'000'000};
    status.spot = {SpotState::kFound, SpotPosition{x_px, 120.0, 0.1, 0.1, 100.0, 4.0}};
    watched.see(status, cv::Mat(240, 320, CV_8UC3, cv::Scalar::all(40)));
  }
  [[nodiscard]] std::string ask(const std::string& first) const {
    const int port = watched.page().port();
    return body_of(
        said_to(port, first + " HTTP/1.1\r\nHost: localhost:" + std::to_string(port) + "\r\n\r\n"));
  }
  [[nodiscard]] nlohmann::json state() const {
    return nlohmann::json::parse(ask("GET /state.json"));
  }
  [[nodiscard]] nlohmann::json track(const std::string& query = "") const {
    return nlohmann::json::parse(ask("GET /track.json" + query));
  }
  [[nodiscard]] std::string value(const std::string& name) const {
    const auto now = state();
    for (const auto& pair : now["values"]) {
      if (pair[0] == name) return pair[1];
    }
    return {};
  }
  void calibrate() const {
    write_wall_map(run.wall(),
                   map_from_points({"0,120=0mm", "300,120=150mm"}, 0.5, {320, 240}));  // 0.5 mm/px
  }
};

}  // namespace

TEST_SUITE("watch page") {
  TEST_CASE("before the first picture the page of a watch says so") {
    const Night night;
    CHECK(night.state()["headline"] == "No picture yet.");
    CHECK(night.ask("GET /picture.jpg") == "no picture yet\n");
    CHECK(night.track()["points"].empty());
    CHECK(night.ask("POST /mark?side=plus&token=" + night.watched.page().token())
              .starts_with("Not noted"));
    CHECK(read_events(night.run.events()).events.empty());
  }

  TEST_CASE("it shows what is seen now") {
    Night night;
    night.see(60.0, 100.25);
    const auto state = night.state();
    CHECK(state["headline"].get<std::string>().find("spot found at 100.25 px") !=
          std::string::npos);
    CHECK(state["well"] == true);
    CHECK(state["picture"] == 1);
    CHECK(night.value("position") == "100.25 px from the left edge of the first picture");
    CHECK(night.value("room on the disk") == "4.2 GB");
    CHECK(night.value("sources at") == "not noted yet");
    CHECK(night.ask("GET /picture.jpg").starts_with("\xff\xd8"));  // a JPEG's first bytes
  }

  TEST_CASE("a lost spot and a lost camera are told apart from a night that goes well") {
    Night night;
    night.see(60.0, 100.0);
    night.watched.see({.t_s = 61.0}, {});
    CHECK(night.state()["well"] == false);
    CHECK(night.state()["picture"] == 1);  // the last one stays
    night.watched.see({.t_s = 62.0, .camera_fault = "it is unplugged"}, {});
    CHECK(night.state()["headline"].get<std::string>().find("it is unplugged") !=
          std::string::npos);
  }

  TEST_CASE("a clipped spot is told with what would mend it") {
    Night night;
    WatchStatus status{.t_s = 1.0, .pictures = 1};
    status.spot = {SpotState::kClipped, SpotPosition{100.0, 120.0, 0.1, 0.1, 200.0, 4.0}};
    night.watched.see(status, cv::Mat(240, 320, CV_8UC3, cv::Scalar::all(40)));
    CHECK(night.value("spot").ends_with("less exposure would mend it"));
    night.see(2.0, 100.0);
    CHECK(night.value("spot").ends_with("width 4.0 px"));
  }

  TEST_CASE("the page of a run that is gone on with has its old address") {
    Night night;
    const std::string token = night.watched.page().token();
    const auto again = [&] {
      const WatchPage page({.port = 0}, night.run.path, night.clock, "");
      return page.page().token();
    };
    CHECK(again() != token);
    night.see(0.0, 100.0);
    CHECK(again() == token);
    using std::filesystem::perms;
    CHECK(std::filesystem::status(night.run.page_token()).permissions() ==
          (perms::owner_read | perms::owner_write));
    // One that others could read, or that is none, is not used.
    write_whole_file(night.run.page_token(), token + "\n");
    CHECK(again() != token);
    write_whole_file(night.run.page_token(), "not a token\n", Readers::kOwner);
    CHECK(is_token(again()));
  }

  TEST_CASE("that the camera was lost is among the warnings, also when it is back") {
    Night night;
    {
      EventWriter events(night.run.events());
      events.append({{}, 1.0, "camera lost", "it is unplugged"});
      events.append({{}, 9.0, "camera back", "after 8 s"});
    }
    night.see(60.0, 100.0);
    CHECK(night.state()["warnings"] ==
          nlohmann::json::parse(R"(["camera lost: it is unplugged"])"));
  }

  TEST_CASE("the night is in pixels until there is a scale, then in millimetres, all of it anew") {
    Night night;
    night.see(0.5, 100.0);
    night.see(1.5, 110.0);
    const auto before = night.track();
    CHECK(before["label"] == "position in the first picture (px)");
    CHECK(before["points"] == nlohmann::json::parse("[[0.5,100],[1.5,110]]"));
    night.calibrate();
    CHECK(night.value("position") == "55.00 mm on the scale");  // asks for the wall
    CHECK(before["edition"] == "0 1");
    const auto after = night.track("?edition=0%201&since=1.5");
    CHECK(after["label"] == "position on the scale (mm)");
    CHECK(after["edition"] != before["edition"]);
    REQUIRE(after["points"].size() == 2);
    CHECK(after["points"][0][1].get<double>() == within_abs(50.0, 2e-3));  // three decimals
  }

  TEST_CASE("a knock of the camera does not move the night that is shown") {
    Night night;
    for (int k = 0; k < 20; ++k) night.see(10.0 * k + 0.5, k < 10 ? 100.0 : 106.0);
    CHECK(night.track()["points"][15][1] == 106);
    {
      CameraWriter looks(night.run.camera());
      for (int k = 0; k < 20; ++k) {
        looks.append({.t_s = 10.0 * k,
                      .motion = {.shift_x_px = k < 10 ? 0.0 : 6.0},
                      .u_shift_px = 0.01,
                      .patches = 12,
                      .state = k == 10 ? CameraState::kMoved : CameraState::kRegistered});
      }
    }
    CHECK(night.value("position") == "100.00 px from the left edge of the first picture");
    const auto steady = night.track("?edition=0%201&since=190.5");
    REQUIRE(steady["points"].size() == 20);  // all of them anew
    // The motion is known to the 0.01 px of one look.
    for (const auto& point : steady["points"]) {
      CHECK(point[1].get<double>() == within_abs(100.0, 0.01));
    }
  }

  TEST_CASE("a camera that stands still has nothing of the night sent again") {
    Night night;
    for (int k = 0; k < 20; ++k) night.see(10.0 * k + 0.5, 100.0);
    CHECK(night.track()["edition"] == "0 1");
    {
      CameraWriter looks(night.run.camera());
      for (int k = 0; k < 20; ++k) {
        // A constant of 0.02 px: known well enough to be applied, too little to be seen.
        looks.append({.t_s = 10.0 * k,
                      .motion = {.shift_x_px = 0.02 + (k % 2 == 0 ? 0.001 : -0.001)},
                      .u_shift_px = 0.01,
                      .patches = 12,
                      .state = CameraState::kRegistered});
      }
    }
    CHECK(night.value("position") == "100.00 px from the left edge of the first picture");
    CHECK(night.track("?edition=0%201&since=180.5")["points"].size() == 1);
  }

  TEST_CASE("what of camera.csv cannot be read is among the warnings, until it is mended") {
    Night night;
    night.see(60.0, 100.0);
    {
      CameraWriter looks(night.run.camera());
      looks.append({.t_s = 1.0, .state = CameraState::kTooFewPatches});
    }
    const std::string whole = text_of(night.run.camera());
    write_text(night.run.camera(), whole + "2,no,look\n");
    REQUIRE(night.state()["warnings"].size() == 1);
    CHECK(night.state()["warnings"][0].get<std::string>().find("camera.csv:3: line passed over") !=
          std::string::npos);
    night.see(160.0, 100.0);  // it is looked at once a minute
    write_text(night.run.camera(), "another file\n");
    REQUIRE(night.state()["warnings"].size() == 1);
    CHECK(night.state()["warnings"][0].get<std::string>().find("header") != std::string::npos);
    night.see(260.0, 100.0);
    write_text(night.run.camera(), whole);
    CHECK(night.state()["warnings"].empty());
  }

  TEST_CASE("only new points are sent again") {
    Night night;
    for (int k = 0; k < 10; ++k) night.see(k + 0.5, 100.0 + k);
    CHECK(night.track()["edition"] == "0 1");
    CHECK(night.track("?edition=0%201&since=7.5")["points"] ==
          nlohmann::json::parse("[[8.5,108],[9.5,109]]"));
  }

  TEST_CASE("a night that is gone on with is shown from its beginning") {
    const TemporaryFolder folder;
    const FakeClock clock;
    const RunFolder run = resume_run_folder(folder / "run");
    {
      TrackWriter track(run.track());
      const SpotPosition place{50.0, 120.0, 0.1, 0.1, 100.0, 4.0};
      track.append({.utc = {}, .t_s = 3.0, .spot = {SpotState::kFound, place}});
      track.append({.utc = {}, .t_s = 4.0, .spot = {SpotState::kBlocked, place}});
    }
    const WatchPage page({.port = 0}, run.path, clock, "");
    const std::string host = "localhost:" + std::to_string(page.page().port());
    const auto track = nlohmann::json::parse(body_of(
        said_to(page.page().port(), "GET /track.json HTTP/1.1\r\nHost: " + host + "\r\n\r\n")));
    CHECK(track["points"] == nlohmann::json::parse("[[3,50]]"));
  }

  TEST_CASE("a mark from the page stands in the log as if given by the command, now") {
    Night night;
    night.see(60.0, 100.0);
    night.clock.now_s = kStart_s + 62.5004;  // some time after the last picture
    const std::string said =
        night.ask("POST /mark?side=minus&token=" + night.watched.page().token());
    EventLog log = read_events(night.run.events());
    const auto changes = side_changes_in(log);
    REQUIRE(changes.size() == 1);
    CHECK(changes[0].side == nightswing::analysis::Side::kMinus);
    CHECK(changes[0].t_s == within_abs(62.5, 1e-9));  // the log holds milliseconds
    CHECK(log.events[0].utc == after(*read_run_info(night.run).start, 62.5));
    CHECK(said.find("minus --at 62.500s --withdraw") != std::string::npos);
    CHECK(night.value("sources at").starts_with("minus"));
    CHECK(night.state()["events"][0]["event"] == "side");
  }

  TEST_CASE("warnings are the newest, newest first, and other events none") {
    Night night;
    night.see(60.0, 100.0);
    {
      EventWriter events(night.run.events());
      events.append({{}, 1.0, "started", "camera"});
      for (int k = 0; k < 100; ++k) events.append({{}, 2.0, "warning", std::to_string(k)});
    }
    const auto state = night.state();
    CHECK(state["warnings"].size() == 6);
    CHECK(state["warnings"][0] == "warning: 99");
    CHECK(state["events"].size() == 40);
  }

  TEST_CASE("the running estimate shows what is known and leaves out what is not") {
    Night night;
    night.see(60.0, 100.0);
    ResultSoFar result{.shift_relative_u = 0.008,
                       .target_relative = 0.005,
                       .hours_to_target = 2.0 / 3.0,
                       .sentence = "shift known to 0.8 % now"};
    result.period_s.emplace(606.18, 0.12);
    night.watched.see({.t_s = 61.0, .so_far = result}, {});
    const auto state = night.state();
    CHECK(state["estimate_text"] == "shift known to 0.8 % now");
    CHECK(state["estimate"] ==
          nlohmann::json::parse(R"([["period","606.18(12) s"],["shift known to","0.8 %"],)"
                                R"(["until 0.5 %","40 min more"]])"));
  }

  TEST_CASE("whoever looks holds nobody up: the next picture brings what was missed") {
    // Told while the page's thread takes what it is given, it may be passed over, never waited for;
    // the points are kept for the next time.
    Night night;
    std::jthread looking([&](const std::stop_token& stop) {
      while (!stop.stop_requested()) static_cast<void>(night.ask("GET /track.json"));
    });
    for (int k = 0; k < 2000; ++k) night.see(k + 0.5, 100.0);
    looking.request_stop();
    looking.join();
    night.see(2000.5, 100.0);
    CHECK(night.track()["points"].size() == 2001);
  }
}
