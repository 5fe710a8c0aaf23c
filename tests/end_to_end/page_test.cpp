// The live pages of a watch and of aim as they are served by the program, at a camera served on
// this computer; asked by sockets, and opened in a browser by the scripts of tests/browser.
#include <algorithm>
#include <cmath>
#include <csignal>
#include <numbers>
#include <string>
#include <thread>
#include <vector>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/command.h"
#include "tests/support/fake_clock.h"
#include "tests/support/night_camera.h"
#include "tests/support/raw_connection.h"
#include "tests/support/running_program.h"
#include "tests/support/served_stream.h"
#include "tests/support/temporary_folder.h"
#include "tracker/page/bounded_server.h"
#include "tracker/page/watch_page.h"
#include "tracker/run/event_log.h"
#include "tracker/run/track_file.h"

using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

constexpr double kEvery_s = 0.25;

struct Set {
  TemporaryFolder folder;
  ServedStream stream;
  NightCamera camera{stream, {320, 240}, std::chrono::milliseconds(40)};
  std::string run = (folder / "run").string();

  [[nodiscard]] std::string words(const std::string& command, const std::string& more) const {
    return command + " --camera " + stream.address() + more;
  }
  [[nodiscard]] std::string watch_words(const std::string& page) const {
    return words("watch", " --every 250ms --run " + run + " --page " + page);
  }
  void await_lines(RunningProgram& program, long count) const {
    REQUIRE_MESSAGE(
        await([&] { return lines_in(run + "/track.csv") >= count || !program.is_running(); }),
        program.errors());
    REQUIRE_MESSAGE(program.is_running(), program.errors());
  }
};

/// The page as the program says where it is.
struct Page {
  int port = 0;
  std::string token;

  explicit Page(RunningProgram& program) {
    const std::string begin = "live page: http://127.0.0.1:";
    std::string said;
    REQUIRE(await([&] {
      said = program.errors();
      return said.find("token=") != std::string::npos &&
             said.find('\n', said.find("token=")) != std::string::npos;
    }));
    const auto at = said.find(begin);
    REQUIRE_MESSAGE(at != std::string::npos, said);
    port = std::stoi(said.substr(at + begin.size()));
    token = said.substr(said.find("token=") + 6, 32);
  }
  [[nodiscard]] std::string ask(const std::string& first) const {
    return said_to(port,
                   first + " HTTP/1.1\r\nHost: localhost:" + std::to_string(port) + "\r\n\r\n");
  }
  [[nodiscard]] std::string url() const {
    return "http://127.0.0.1:" + std::to_string(port) + "/?token=" + token;
  }
  [[nodiscard]] nlohmann::json state() const {
    return nlohmann::json::parse(body_of(ask("GET /state.json")));
  }
};

/// The page of a watch that has come to two hours and a half, with an estimate.
struct LateNight {
  TemporaryFolder folder;
  FakeClock clock;
  WatchPage watched{{.port = 0}, folder / "run", clock, "Look away from the laser."};

  LateNight() {
    ResultSoFar result{
        .shift_relative_u = 0.008,
        .target_relative = 0.005,
        .hours_to_target = 2.0 / 3.0,
        .sentence = "shift 20.00(16) mm, known to 0.8 % now, another 40 min for 0.5 %"};
    result.period_s.emplace(606.18, 0.12);
    result.shift_mm.emplace(20.0, 0.16);
    const cv::Mat wall(240, 320, CV_8UC3, cv::Scalar::all(40));
    for (double t_s = 0.5; t_s < 9000.0; t_s += 5.0) {
      const double x_px = 160.0 + 90.0 * std::cos(2.0 * std::numbers::pi * t_s / 600.0);
      watched.see({.t_s = t_s,
                   .picture_t_s = t_s,
                   .spot = {SpotState::kFound, SpotPosition{x_px, 120.0, 0.1, 0.1, 100.0, 4.0}},
                   .pictures = 1,
                   .so_far = result},
                  wall);
    }
  }
  [[nodiscard]] std::string url() const { return watched.page().urls().front(); }
};

double span(const nlohmann::json& numbers) {
  return numbers.back().get<double>() - numbers.front().get<double>();
}

}  // namespace

TEST_SUITE("page") {
  TEST_CASE("a watch shows itself, and takes a mark that stands in the log") {
    Set set;
    RunningProgram watch(set.watch_words("0"), set.run + ".errors");
    const Page page(watch);
    set.await_lines(watch, 6);
    CHECK(page.state()["headline"].get<std::string>().find("spot found") != std::string::npos);
    CHECK(status_of(page.ask("GET /picture.jpg")) == 200);
    const auto points =
        nlohmann::json::parse(body_of(page.ask("GET /track.json")))["points"].size();
    CHECK(points >= 1);  // one for each second
    CHECK(status_of(page.ask("POST /mark?side=minus&token=" + page.token)) == 200);
    watch.send(SIGTERM);
    CHECK(watch.status() == 0);
    EventLog log = read_events(set.run + "/events.csv");
    CHECK(log.warnings.empty());
    const auto changes = side_changes_in(log);
    REQUIRE(changes.size() == 1);
    const Track track = read_track(set.run + "/track.csv");
    CHECK(changes[0].t_s > 1.0);  // after six lines
    CHECK(changes[0].t_s < track.rows.back().t_s + 1.0);
  }

  TEST_CASE("200 slow connections and a visitor who asks without pause cost the track no line") {
    Set set;
    RunningProgram watch(set.watch_words("0"), set.run + ".errors");
    const Page page(watch);
    set.await_lines(watch, 4);
    std::vector<RawConnection> slow;
    for (int k = 0; k < 200; ++k) {
      slow.emplace_back(page.port);
      slow.back().send("G");
    }
    long answers = 0;
    std::jthread visitor([&](const std::stop_token& stop) {
      while (!stop.stop_requested()) {
        for (const char* path : {"/state.json", "/track.json", "/picture.jpg", "/chart.js"}) {
          answers += status_of(page.ask(std::string("GET ") + path)) == 200 ? 1 : 0;
        }
      }
    });
    set.await_lines(watch, 44);
    visitor.request_stop();
    visitor.join();
    watch.send(SIGTERM);
    CHECK(watch.status() == 0);
    CHECK(answers > 40);  // at least one a line: the slow ones keep nobody out
    // Ten seconds under attack. Each window of the track holds six pictures; a window without any
    // would be missing. One in twenty may be, for a machine that does other things.
    const Track track = read_track(set.run + "/track.csv");
    REQUIRE(track.rows.size() >= 40);
    CHECK(track.warnings.empty());
    const double length_s = track.rows.back().t_s - track.rows.front().t_s;
    CHECK(static_cast<double>(track.rows.size()) >= 0.95 * length_s / kEvery_s);
    CHECK(std::ranges::none_of(track.rows, [](const TrackRow& row) {
      return row.spot.state == SpotState::kLost || row.spot.state == SpotState::kDark;
    }));
  }

  TEST_CASE("where the port is taken the watch goes on, with a warning that says what to do") {
    Set set;
    const BoundedServer other({.port = 0});
    RunningProgram watch(set.watch_words(std::to_string(other.port())), set.run + ".errors");
    set.await_lines(watch, 4);
    CHECK(watch.errors().find("give --page another port; going on without a page") !=
          std::string::npos);
    watch.send(SIGTERM);
    CHECK(watch.status() == 0);
  }

  TEST_CASE("aim shows on a page what it sees") {
    Set set;
    RunningProgram aim(set.words("aim", " --page 0"), set.run + ".errors");
    const Page page(aim);
    REQUIRE(await([&] {
      return page.state()["headline"].get<std::string>().find("Spot found") != std::string::npos;
    }));
    CHECK(status_of(page.ask("GET /picture.jpg")) == 200);
    CHECK(page.state()["values"].size() > 4);
    aim.send(SIGTERM);
    CHECK(aim.status() == 0);
  }

  TEST_CASE("in a browser the night can be zoomed into and out of, and the estimate is read") {
    const LateNight night;
    const auto zoomed = browser_script("zoom_chart.py '" + night.url() + "'");
    REQUIRE_MESSAGE(zoomed.status == 0, (zoomed.output + zoomed.errors));
    const auto shown = nlohmann::json::parse(zoomed.output);
    CHECK(span(shown["before"]) > 1.4);  // hours, of 2.5; labels every half hour
    // A fifth of the chart was chosen; the labels stand a little inside.
    CHECK(span(shown["zoomed"]) < 0.6);
    CHECK(span(shown["zoomed"]) > 0.2);
    CHECK(shown["later"] == shown["zoomed"]);  // news of the night does not undo it
    CHECK(shown["whole"] == shown["before"]);
    const std::string estimate = shown["estimate"];
    for (const char* figure :
         {"606.18(12) s", "20.00(16) mm", "0.8 %", "until 0.5 %", "40 min more"}) {
      CHECK_MESSAGE(estimate.find(figure) != std::string::npos, (estimate + figure));
    }
    const auto checked =
        check_in_browser(night.url(), "--ready \"document.querySelector('#chart canvas')\"");
    CHECK_MESSAGE(checked.status == 0, (checked.output + checked.errors));
  }

  TEST_CASE(
      "in a browser the pages show themselves on desk and phone to everybody, and take a mark") {
    Set set;
    const auto ready = [](const std::string& shown) {
      return "--ready \"" + shown + " && document.getElementById('picture').naturalWidth > 0\"";
    };
    {
      RunningProgram watch(set.watch_words("0"), set.run + ".errors");
      const Page page(watch);
      const auto checked =
          check_in_browser(page.url(), ready("document.querySelector('#chart canvas')"));
      CHECK_MESSAGE(checked.status == 0, (checked.output + checked.errors));
      const auto marked = browser_script("mark_side.py '" + page.url() + "'");
      CHECK_MESSAGE(marked.status == 0, (marked.output + marked.errors));
      CHECK(marked.output.find("sources at minus") != std::string::npos);
    }
    EventLog log = read_events(set.run + "/events.csv");
    REQUIRE(side_changes_in(log).size() == 1);
    CHECK(side_changes_in(log)[0].side == nightswing::analysis::Side::kMinus);
    RunningProgram aim(set.words("aim", " --page 0"), set.run + ".aim");
    const Page page(aim);
    const auto checked =
        check_in_browser(page.url(), ready("document.querySelectorAll('dd').length > 3"));
    CHECK_MESSAGE(checked.status == 0, (checked.output + checked.errors));
  }

  TEST_CASE("an address that others can open is refused unless that is wanted") {
    const Set set;
    const auto refused = nightswing_command(set.watch_words("0.0.0.0:0"));
    CHECK(refused.status == 2);
    CHECK(refused.errors.find("--page-open") != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(set.run + "/track.csv"));
    CHECK(nightswing_command(set.words("watch", " --run " + set.run + " --page-open")).status == 2);
  }
}
