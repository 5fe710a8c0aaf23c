#include "tracker/page/aim_page.h"

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "tests/support/raw_connection.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

AimReading good_reading() {
  AimReading reading;
  reading.spot = {SpotState::kFound, SpotPosition{100.0, 120.0, 0.1, 0.1, 180.0, 4.0}};
  reading.room = SwingRoom{.left_px = 84.0, .right_px = 204.0};
  reading.mm_per_px = 0.5;
  reading.reading_u_mm = 0.05;
  reading.scale = "read";
  reading.sharpness = 0.97;
  return reading;
}

nlohmann::json state_of(const AimPage& page) {
  const int port = page.page().port();
  return nlohmann::json::parse(body_of(said_to(
      port, "GET /state.json HTTP/1.1\r\nHost: localhost:" + std::to_string(port) + "\r\n\r\n")));
}

}  // namespace

TEST_SUITE("aim page") {
  TEST_CASE("before the first picture the page of aim says so") {
    const AimPage page({.port = 0}, "camera", "");
    CHECK(state_of(page)["headline"] == "No picture yet.");
  }

  TEST_CASE("what is seen stands in a table, what to mend in a list") {
    AimPage page({.port = 0}, "camera", "");
    AimReading reading = good_reading();
    page.see(cv::Mat(240, 320, CV_8UC3, cv::Scalar::all(40)), reading);
    auto state = state_of(page);
    CHECK(state["headline"] == "Spot found; nothing to mend");
    CHECK(state["well"] == true);
    CHECK(state["warnings"].empty());
    CHECK(state["picture"] == 1);
    reading.advice = {"core clipped: lower the exposure", "the spot is at the edge"};
    page.see(cv::Mat(240, 320, CV_8UC3, cv::Scalar::all(40)), reading);
    state = state_of(page);
    CHECK(state["headline"] == "Spot found; 2 things to mend");
    CHECK(state["well"] == false);
    CHECK(state["warnings"] == nlohmann::json(reading.advice));
    CHECK(state["picture"] == 2);
  }

  TEST_CASE("a camera that is lost is said to be, until the next picture") {
    AimPage page({.port = 0}, "camera", "");
    const cv::Mat picture(240, 320, CV_8UC3, cv::Scalar::all(40));
    page.see(picture, good_reading());
    page.lose("it was unplugged");
    CHECK(state_of(page)["headline"] ==
          "No camera (it was unplugged); it is tried again until it is back");
    CHECK(state_of(page)["well"] == false);
    page.see(picture, good_reading());
    CHECK(state_of(page)["well"] == true);
  }

  TEST_CASE("what is not known has no line") {
    const auto has = [](const AimReading& reading, const std::string& name) {
      for (const PageValue& value : values_of(reading)) {
        if (value.name == name) return true;
      }
      return false;
    };
    for (const char* name :
         {"spot at", "width", "peak", "room to swing", "one pixel", "one reading"}) {
      CAPTURE(name);
      CHECK(has(good_reading(), name));
      CHECK_FALSE(has(AimReading{}, name));
    }
  }

  TEST_CASE("a clipped core and a white picture are told apart") {
    const auto text_of = [](const AimReading& reading, const std::string& name) -> std::string {
      for (const PageValue& value : values_of(reading)) {
        if (value.name == name) return value.text;
      }
      return "none";
    };
    AimReading reading = good_reading();
    CHECK(text_of(reading, "peak") == "180 counts above the wall, not clipped");
    reading.spot.state = SpotState::kClipped;
    reading.saturated_share = 2e-5;  // twenty pixels of a million
    CHECK(text_of(reading, "peak") == "180 counts above the wall, clipped");
    CHECK(text_of(reading, "saturated") == "none");
    reading.saturated_share = 0.25;
    CHECK(text_of(reading, "saturated") == "25.0 % of the picture");
  }
}
