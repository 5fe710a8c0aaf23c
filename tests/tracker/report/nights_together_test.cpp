#include "tracker/report/nights_together.h"

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

using namespace nightswing;
using tracker::NightBeside;
using tracker::NightsTogether;

namespace {

/// A night of G = 6.7e-11 whose own part of u is 3 %, beside 4 % that all such nights share.
NightBeside night(const std::string& run, double g = 6.7e-11) {
  const auto row = [&](const char* name, double value, double share_of_g) {
    return analysis::BudgetRow{.input = {.name = name, .value = value, .u = 0.1, .unit = "mm"},
                               .sensitivity = share_of_g * g / 0.1,
                               .contribution = share_of_g * g,
                               .share = 0.5};
  };
  return {.run = run,
          .balance = "Shelf <balance>",
          .start = tracker::parse_iso_time("2026-03-14T21:30:00Z"),
          .end = {},
          .status = "measured",
          .g = analysis::NightValue{.name = run,
                                    .g = {g, 0.05 * g},
                                    .rows = {row("shift", static_cast<double>(run.size()), 0.03),
                                             row("separation", 46.0, 0.04)}},
          .period_s = analysis::Measured{600.0, 0.2},
          .shift_mm = analysis::Measured{100.0, 0.1}};
}

NightBeside night_without_g(const std::string& run) {
  NightBeside without = night(run);
  without.g.reset();
  without.status = "no shift found";
  return without;
}

}  // namespace

TEST_SUITE("nights_together") {
  TEST_CASE("the text names each night, the mean, what is shared and what was left out") {
    const NightsTogether together =
        tracker::nights_together({night("a"), night_without_g("bb"), night("ccc")});
    const std::string text = tracker::nights_text(together);
    // Own parts of 3 % average to 2.12 %, with 4 % shared: 4.53 %, closed form.
    CHECK(text.find("G = 6.70(30)e-11 m3 kg-1 s-2   (4.53 %, standard") != std::string::npos);
    CHECK(text.find("a  (2026-03-14T21:30, Shelf <balance>)\n"
                    "    G = 6.70(34)e-11 m3 kg-1 s-2   weight 50 %, +0.0 u from the mean\n"
                    "    period 600.00(20) s, shift 100.00(10) mm\n") != std::string::npos);
    CHECK(text.find("    no G: no shift found; left out of the mean\n") != std::string::npos);
    CHECK(text.find("2.7e-12 m3 kg-1 s-2 of u(G), from\n    separation.") != std::string::npos);
    CHECK(text.find("The accepted value, 6.67430(15)e-11") != std::string::npos);
    CHECK(text.find("They agree.") != std::string::npos);
  }

  TEST_CASE("nights at the same time are told of in every form, nights one after the other not") {
    const auto at = [](const std::string& run, const char* start, const char* end) {
      NightBeside one = night(run);
      one.start = tracker::parse_iso_time(start);
      one.end = tracker::parse_iso_time(end);
      return one;
    };
    const NightBeside first = at("a", "2026-03-14T21:30:00Z", "2026-03-15T05:30:00Z");
    // a clock that is half a minute off makes no overlap of what followed at once
    const NightBeside next = at("bb", "2026-03-15T05:29:30Z", "2026-03-15T07:00:00Z");
    CHECK(tracker::nights_together({first, next, night("ccc")}).warnings.empty());
    const NightsTogether together =
        tracker::nights_together({next, at("d", "2026-03-15T06:30:00Z", "2026-03-15T09:00:00Z")});
    REQUIRE(together.warnings.size() == 1);
    const std::string told =
        "bb and d were watched at the same time, for 30 min 00 s from 2026-03-15T06:30:00.000Z on";
    CHECK(together.warnings[0].starts_with(told));
    CHECK(tracker::nights_text(together).find("warning: bb and d were watched") !=
          std::string::npos);
    CHECK(nlohmann::json::parse(tracker::nights_json(together))["warnings"].size() == 1);
    CHECK(tracker::nights_page(together, {}).find(told) != std::string::npos);
  }

  TEST_CASE("nights that do not agree are said not to") {
    // 20 % apart, 3 % each of their own: 4.3 times their scatter.
    const std::string text =
        tracker::nights_text(tracker::nights_together({night("a", 6.0e-11), night("bb", 7.2e-11)}));
    CHECK(text.find("They do not agree") != std::string::npos);
  }

  TEST_CASE("fewer than two nights with G give no mean, in every form") {
    const NightsTogether together = tracker::nights_together({night("a"), night_without_g("bb")});
    CHECK_FALSE(together.combined.has_value());
    CHECK(tracker::nights_text(together).ends_with(
        "no G of several nights: fewer than two of them give one\n"));
    CHECK(nlohmann::json::parse(tracker::nights_json(together))["G"].is_null());
    CHECK(tracker::nights_figures(together).empty());
    CHECK(tracker::nights_page(together, tracker::nights_figures(together))
              .find("fewer than two of them") != std::string::npos);
  }

  TEST_CASE("the JSON holds the same numbers, in the order given") {
    const NightsTogether together =
        tracker::nights_together({night_without_g("bb"), night("a"), night("ccc", 6.8e-11)});
    const auto json = nlohmann::json::parse(tracker::nights_json(together));
    CHECK(json["G"]["value"] == together.combined->g.value);
    CHECK(json["G"]["u"] == together.combined->g.u);
    CHECK(json["G"]["common_u"] == together.combined->common_u);
    CHECK(json["shared_inputs"] == nlohmann::json::array({"separation"}));
    REQUIRE(json["nights"].size() == 3);
    CHECK(json["nights"][0]["weight"].is_null());
    CHECK(json["nights"][0]["status"] == "no shift found");
    CHECK(json["nights"][1]["weight"] == together.combined->nights[0].weight);
    CHECK(json["nights"][2]["deviation"] == together.combined->nights[1].deviation);
    CHECK(json["nights"][2]["G"]["value"] == 6.8e-11);
  }

  TEST_CASE("the page shows every night and obeys no text of the user") {
    const NightsTogether together = tracker::nights_together({night("a"), night("<b>b</b>")});
    const std::string page = tracker::nights_page(together, tracker::nights_figures(together));
    CHECK(page.find("Shelf &lt;balance&gt;") != std::string::npos);
    CHECK(page.find("<b>b</b>") == std::string::npos);
    CHECK(page.find("src=\"data:image/svg+xml;base64,") != std::string::npos);
  }
}
