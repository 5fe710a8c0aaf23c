#include "tracker/page/page_state.h"

#include <array>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "tracker/page/page_html.h"

using namespace nightswing::tracker;

TEST_SUITE("page state") {
  TEST_CASE("the page's script finds every name that it reads") {
    const auto json = nlohmann::json::parse(json_text(PageState{.events = {{}}}));
    for (const auto& item : json.items()) {
      const std::string& name = item.key();
      CAPTURE(name);
      CHECK(page_js().find("state." + name) != std::string::npos);
    }
    CHECK(json.size() == 9);
    CHECK(json["events"][0]["utc"].is_null());
    CHECK(json["events"][0]["t_s"].is_null());
    const auto track = nlohmann::json::parse(json_text({}, "1", "mm", "", {}));
    for (const auto& item : track.items()) {
      const std::string& name = item.key();
      CAPTURE(name);
      CHECK(page_js().find("track." + name) != std::string::npos);
    }
    CHECK(track.size() == 3);
    CHECK(track["points"].empty());
  }

  TEST_CASE("texts survive whatever they hold") {
    const std::string evil = "\"}</script>\n\x01\\";
    const PageState state{.headline = evil,
                          .values = {{evil, evil}},
                          .warnings = {evil},
                          .events = {{parse_iso_time("2026-03-14T21:30:00Z"), 1.5, evil, evil}}};
    const auto json = nlohmann::json::parse(json_text(state));
    CHECK(json["headline"] == evil);
    CHECK(json["values"][0][1] == evil);
    CHECK(json["warnings"][0] == evil);
    CHECK(json["events"][0]["detail"] == evil);
    CHECK(json["events"][0]["utc"] == "2026-03-14T21:30:00.000Z");
    CHECK(json["events"][0]["t_s"] == 1.5);
    const auto broken = nlohmann::json::parse(json_text(PageState{.headline = "a\xff b"}));
    CHECK(broken["headline"].get<std::string>().find(" b") != std::string::npos);
  }

  TEST_CASE("only what is new is sent, unless the page holds another edition") {
    constexpr std::array<ChartPoint, 3> kPoints{{{1.0, 10.0}, {2.0, 20.0}, {3.25, 30.12345}}};
    const auto sent = [&](const std::string& held, std::optional<double> since_s) {
      return nlohmann::json::parse(json_text(kPoints, "mm 1", "mm", held, since_s))["points"];
    };
    CHECK(sent("", {}).size() == 3);
    CHECK(sent("mm 1", {}).size() == 3);
    CHECK(sent("px 1", 2.0).size() == 3);
    CHECK(sent("mm 1", 3.25).empty());
    const auto last = sent("mm 1", 2.0);
    REQUIRE(last.size() == 1);
    CHECK(last[0][0] == 3.25);
    CHECK(last[0][1] == 30.123);  // micrometres are enough for the eye
  }
}
