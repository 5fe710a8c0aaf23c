#include "tracker/page/page_html.h"

#include <fmt/format.h>

#include "tracker/report/embedded_text.h"
#include "tracker/report/html_text.h"

namespace nightswing::tracker {
namespace {

std::string section(std::string_view id, std::string_view title, std::string_view content) {
  return fmt::format(
      "<section id=\"{0}\" aria-labelledby=\"{0}-title\" hidden>\n<h2 id=\"{0}-title\">{1}</h2>\n"
      "{2}</section>\n",
      id,
      title,
      content);
}

std::string mark_html() {
  return "<details id=\"mark\" hidden>\n<summary>The sources were moved</summary>\n"
         "<p>Note it at the moment when they have arrived. The line in events.csv gets the present "
         "time.</p>\n"
         "<p class=\"sides\">\n"
         "<button type=\"button\" data-side=\"plus\">at plus now</button>\n"
         "<button type=\"button\" data-side=\"minus\">at minus now</button>\n"
         "<button type=\"button\" data-side=\"away\">away now</button>\n</p>\n"
         "<p id=\"mark-outcome\" role=\"status\"></p>\n</details>\n"
         "<p id=\"no-mark\" class=\"faint\" hidden>To note from here that the sources were moved, "
         "open the "
         "address that the program printed, with the token in it.</p>\n";
}

}  // namespace

std::string page_html(const PageTexts& texts) {
  std::string html = fmt::format(
      "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<title>{0}</title>\n<link rel=\"icon\" href=\"data:,\">\n"
      "<link rel=\"stylesheet\" href=\"page.css\">\n</head>\n<body class=\"live\">\n"
      "<header>\n<h1>{0}</h1>\n<p id=\"headline\" class=\"headline\">Waiting for the program.</p>\n"
      "<p id=\"silence\" class=\"trouble\" role=\"alert\" hidden></p>\n"
      "<noscript><p class=\"trouble\">This page is filled in by its script, which is switched off "
      "here.</p></noscript>\n</header>\n<main>\n<div class=\"seen\">\n",
      html_escaped(texts.title));
  html += section("look",
                  "The wall now",
                  "<img id=\"picture\" alt=\"The newest picture of the camera, with a ring round "
                  "the spot\">\n");
  if (texts.has_chart) {
    html += section("night",
                    "The night",
                    "<p class=\"faint\">Drag across the chart, or move the handles below it, to "
                    "look closer; a double click or tap shows the whole night again.</p>\n"
                    "<div id=\"chart\" role=\"img\" aria-label=\"Position of the spot against "
                    "time\"></div>\n");
  }
  html += "</div>\n<div class=\"said\">\n";
  html += section(
      "estimate", "Until now", "<p id=\"estimate-text\"></p>\n<dl id=\"estimate-values\"></dl>\n");
  html += section(
      "warnings", texts.has_chart ? "Warnings" : "What to mend", "<ul id=\"warning-list\"></ul>\n");
  if (texts.can_mark) html += mark_html();
  html += section("values", "At the moment", "<dl id=\"value-list\"></dl>\n");
  html += section("events", "Log", "<ol id=\"event-list\"></ol>\n");
  html += fmt::format(
      "</div>\n</main>\n<footer>\n<p class=\"faint\">Cautions: {}</p>\n</footer>\n{}"
      "<script src=\"page.js\"></script>\n</body>\n</html>\n",
      html_escaped(texts.cautions),
      texts.has_chart ? "<script src=\"chart.js\"></script>\n" : "");
  return html;
}

std::string page_css() {
  return std::string(chart_style()) + '\n' + std::string(report_style()) +
         std::string(page_style());
}

std::string page_js() {
  return std::string(night_chart_script()) + std::string(page_script());
}

}  // namespace nightswing::tracker
