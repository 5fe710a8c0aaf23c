#include "tracker/page/page_html.h"

#include <regex>
#include <set>

#include <doctest/doctest.h>

using namespace nightswing::tracker;

namespace {

const PageTexts kAll{
    .title = "night", .cautions = "Look away.", .has_chart = true, .can_mark = true};

std::set<std::string> found(const std::string& text, const std::string& pattern) {
  std::set<std::string> all;
  const std::regex regex(pattern);
  for (std::sregex_iterator at(text.begin(), text.end(), regex), end; at != end; ++at) {
    all.insert((*at)[1]);
  }
  return all;
}

}  // namespace

TEST_SUITE("page html") {
  TEST_CASE("everything it loads is its own") {
    CHECK(found(page_html(kAll), "(?:src|href)=\"([^\"]*)\"") ==
          std::set<std::string>{"data:,", "page.css", "page.js", "chart.js"});
    CHECK(page_html(kAll).find("//") == std::string::npos);
    for (const std::string& part : {page_css(), page_js()}) {
      CHECK(part.find("http://") == std::string::npos);
      CHECK(part.find("https://") == std::string::npos);
      CHECK(part.find("@import") == std::string::npos);
    }
  }

  TEST_CASE("no script and no style stands in the page itself, which its policy would forbid") {
    const std::string html = page_html(kAll);
    CHECK(html.find("<style") == std::string::npos);
    CHECK(html.find(" style=") == std::string::npos);
    CHECK(html.find("<script>") == std::string::npos);
    CHECK(found(html, "\\s(on[a-z]+)=").empty());
  }

  TEST_CASE("every element that the script asks for is there") {
    const std::string html = page_html(kAll);
    const auto asked = found(page_js(), "element\\(\"([a-z-]+)\"\\)");
    CHECK(asked.size() > 15);
    const auto there = found(html, "id=\"([a-z-]+)\"");
    for (const std::string& id : asked) {
      CAPTURE(id);
      CHECK(there.contains(id));
    }
  }

  TEST_CASE("the script never makes markup of texts") {
    CHECK(page_js().find("innerHTML") == std::string::npos);
    CHECK(page_js().find("insertAdjacentHTML") == std::string::npos);
    CHECK(page_js().find("document.write") == std::string::npos);
  }

  TEST_CASE("without a chart or marks there is nothing of them") {
    const std::string html = page_html({.title = "aim", .cautions = "Look away."});
    CHECK(html.find("chart") == std::string::npos);
    CHECK(html.find("<button") == std::string::npos);
    CHECK(html.find("What to mend") != std::string::npos);
    CHECK(html.find("Look away.") != std::string::npos);
  }

  TEST_CASE("a title is shown, never obeyed") {
    const std::string html = page_html({.title = "</title><script>x", .cautions = "<b>"});
    CHECK(html.find("<script>x") == std::string::npos);
    CHECK(html.find("<b>") == std::string::npos);
  }
}
