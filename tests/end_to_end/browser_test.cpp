// The pages and the film as a browser shows them: headless Chromium, driven by the scripts of
// tests/browser.
#include <algorithm>
#include <filesystem>
#include <regex>
#include <sstream>
#include <string>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"

using namespace nightswing::test;

namespace {

/// Screenshots and the printed page go to `out`.
CommandResult check_page(const std::filesystem::path& page, const std::filesystem::path& out) {
  return check_in_browser("file://" + page.string(), "--out " + out.string());
}

}  // namespace

TEST_SUITE("in a browser") {
  TEST_CASE("the report shows itself on desk and phone, light and dark, on its own, to everybody") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const auto checked = check_page(run + "/report.html", folder / "shown");
    CHECK_MESSAGE(checked.status == 0, (checked.output + checked.errors));
    const auto printed = run_command("pdftotext " + (folder / "shown/printed.pdf").string() + " -");
    CHECK(printed.output.find("draws of all inputs") != std::string::npos);
    // Printed it is a handful of sheets, each with something on it; pdftotext ends each with \f.
    const auto pages = std::count(printed.output.begin(), printed.output.end(), '\f');
    CHECK(pages >= 4);
    CHECK(pages <= 8);
    std::istringstream text(printed.output);
    for (std::string page; std::getline(text, page, '\f');) CHECK(page.size() > 40);
  }

  TEST_CASE(
      "the chart says what it shows in hours and millimetres; without scripts the figure does") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const auto read = browser_script("read_report.py file://" + run + "/report.html");
    REQUIRE_MESSAGE(read.status == 0, (read.output + read.errors));
    const auto shown = nlohmann::json::parse(read.output);
    // The pointer is in the middle of the page's part, so between 1 h and 3 h of the night.
    const std::regex legend(
        "[12] h \\d\\d min \\d\\d s: measured \\(mm\\): \\d{3}\\.\\d{2}( fit.*)?");
    CHECK_MESSAGE(std::regex_match(shown["legend"].get<std::string>(), legend), shown["legend"]);
    CHECK(shown["static"] == false);
    CHECK(shown["chart"] == true);
    CHECK(shown["static_without"] == true);
    CHECK(shown["chart_without"] == false);
    // A figure that a phone shows in part says so; on a desk all of each is seen.
    CHECK(shown["cut_on_desk"] == 0);
    CHECK(shown["cut_on_phone"].get<int>() > 0);
    CHECK(shown["told_on_phone"] == shown["cut_on_phone"]);
  }

  TEST_CASE("so does the page of several nights") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const std::string other = (folder / "other").string();
    std::filesystem::copy(run, other, std::filesystem::copy_options::recursive);
    const std::string together = (folder / "together").string();
    const auto compared =
        nightswing_command("analyse --quiet " + run + " " + other + " --together " + together);
    REQUIRE_MESSAGE(compared.status == 0, compared.errors);
    const auto checked = check_page(together + "/nights.html", folder / "shown");
    CHECK_MESSAGE(checked.status == 0, (checked.output + checked.errors));
  }

  TEST_CASE("the checks see what they are for") {
    const TemporaryFolder folder;
    write_text(folder / "bad.html",
               "<!doctype html><html><title>bad</title><body style='width:2000px'>"
               "<p style='color:#bbb;background:#fff'>pale</p><img src='http://127.0.0.1:9/a.png'>"
               "<script>missing()</script>");
    const auto checked = check_page(folder / "bad.html", folder / "shown");
    CHECK(checked.status == 1);
    for (const char* fault : {"phone, dark: is ",
                              "asks for http://127.0.0.1:9/a.png",
                              "missing is not defined",
                              "axe color-contrast",
                              "axe image-alt",
                              "axe html-has-lang"}) {
      CHECK_MESSAGE(checked.output.find(fault) != std::string::npos, (fault + checked.output));
    }
  }

  TEST_CASE("the film plays") {
    const TemporaryFolder folder;
    const std::string run = make_analysed_run(folder.path());
    const auto made = nightswing_command("film --quiet " + run + " --seconds 4");
    REQUIRE_MESSAGE(made.status == 0, made.errors);
    const auto played = browser_script("play_film.py " + run + "/film.mp4");
    REQUIRE_MESSAGE(played.status == 0, (played.output + played.errors));
    const auto film = nlohmann::json::parse(played.output);
    CHECK(film["height"] == 1080);
    CHECK(film["duration"].get<double>() == within_abs(4.0, 0.1));  // title card and ends apart
    write_text(folder / "torn.mp4", "no film");
    CHECK(browser_script("play_film.py " + (folder / "torn.mp4").string()).status == 1);
  }
}
