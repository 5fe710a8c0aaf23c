#include <regex>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "tests/support/shown_example.h"
#include "tracker/report/figures.h"
#include "tracker/report/html_text.h"
#include "tracker/report/report_page.h"

using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

std::string page_of(const ShownNight& night) {
  const cv::Mat wall(720, 1280, CV_8UC3, cv::Scalar(40, 60, 80));
  return report_page(night, all_figures(night, wall), "Look away from the laser.");
}

std::size_t count_of(const std::string& text, const std::string& word) {
  std::size_t count = 0;
  for (std::size_t at = 0; (at = text.find(word, at)) != std::string::npos; at += word.size()) {
    ++count;
  }
  return count;
}

/// What stands between the start of the element with this id and its end tag.
std::string content_of(const std::string& page, const std::string& id, const std::string& end) {
  const auto at = page.find("id=\"" + id + "\"");
  REQUIRE(at != std::string::npos);
  const auto from = page.find('>', at) + 1;
  return page.substr(from, page.find(end, from) - from);
}

}  // namespace

TEST_SUITE("report page") {
  TEST_CASE("base64 agrees with the vectors of RFC 4648, section 10") {
    CHECK(base64("").empty());
    CHECK(base64("f") == "Zg==");
    CHECK(base64("fo") == "Zm8=");
    CHECK(base64("foo") == "Zm9v");
    CHECK(base64("foob") == "Zm9vYg==");
    CHECK(base64("fooba") == "Zm9vYmE=");
    CHECK(base64("foobar") == "Zm9vYmFy");
  }

  TEST_CASE("text is shown, never obeyed") {
    CHECK(html_escaped("a < b & \"c\" > 'd'\x01") ==
          "a &lt; b &amp; &quot;c&quot; &gt; &#39;d&#39; ");
  }

  TEST_CASE("no text of the user becomes markup") {
    const std::string evil = "</script></pre><img src=x onerror=alert(1)>\"'";
    ShownNight night = shown_example();
    night.title = night.run = night.source = night.apparatus_text = night.sides_from = evil;
    night.wall_text = evil;
    night.events.push_back({4000.0, "1 h 06 min", evil, evil});
    night.budget[0].name = night.corrections[0].name = night.opinions[0].method = evil;
    night.warnings = night.assumptions = night.commands = {evil};
    const std::string page = page_of(night);
    CHECK(page.find("<img src=x") == std::string::npos);
    CHECK(count_of(page, "</script>") == count_of(page, "<script"));
    CHECK(count_of(page, "</pre>") == count_of(page, "<pre>"));
  }

  TEST_CASE("the page needs nothing beside it and may ask nothing of the network") {
    const std::string page = page_of(shown_example());
    CHECK(page.find("default-src 'none'") != std::string::npos);
    const std::regex reference("(?:src|href|srcset)=\"([^\"]{0,5})");
    for (std::sregex_iterator it(page.begin(), page.end(), reference), end; it != end; ++it) {
      CHECK((*it)[1] == "data:");
    }
  }

  TEST_CASE("every picture says in words what it shows") {
    const std::string page = page_of(shown_example());
    CHECK(count_of(page, "<img ") == 11);
    CHECK(count_of(page, "alt=\"") == 11);
    CHECK(count_of(page, "alt=\"\"") == 0);
  }

  TEST_CASE("the result stands on top, with its interval and the comparison in words") {
    const ShownNight night = shown_example();
    const std::string page = page_of(night);
    const auto value = page.find("6.70(10) \u00d7 10<sup>\u221211</sup>");
    REQUIRE(value != std::string::npos);
    CHECK(value < page.find("<h2>"));
    CHECK(page.find("6.600 to 6.800") != std::string::npos);
    CHECK(page.find("6.500 to 6.900") != std::string::npos);
    CHECK(page.find(html_escaped(night.comparison->sentence)) != std::string::npos);
  }

  TEST_CASE("the zoomable night holds every reading, and the fit where there is one") {
    ShownNight night = shown_example();
    night.samples[7].residual_mm.reset();
    const auto data = nlohmann::json::parse(content_of(page_of(night), "night-data", "</script>"));
    REQUIRE(data["rows"].size() == night.samples.size());
    CHECK(data["rows"][7][2].is_null());
    CHECK(data["rows"][8][2].is_number());
    CHECK(data["rows"][8][3].is_null());
    CHECK(data["rows"][1000][3].is_number());
    CHECK(data["segments"].size() == 2);
  }

  TEST_CASE("a night without G says why") {
    ShownNight night = shown_example();
    night.g_m3_kg_s2.reset();
    night.comparison.reset();
    night.status = "no shift found";
    night.message = "the equilibria do not differ";
    const std::string page = page_of(night);
    CHECK(page.find("no G: no shift found") != std::string::npos);
    CHECK(page.find("the equilibria do not differ") != std::string::npos);
    CHECK(page.find("CODATA") == std::string::npos);
  }
}
