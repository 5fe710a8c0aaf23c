#include "tracker/report/page_parts.h"

#include <algorithm>

#include <fmt/format.h>

#include "tracker/report/embedded_text.h"
#include "tracker/report/figures.h"
#include "tracker/report/html_text.h"

namespace nightswing::tracker {
namespace {

std::string data_uri(const Figure& figure, const Palette& palette) {
  return "data:image/svg+xml;base64," + base64(svg_text(figure, palette));
}

}  // namespace

std::string head_html(const std::string& title) {
  return fmt::format(
      "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; "
      "style-src 'unsafe-inline'; script-src 'unsafe-inline'\">\n<title>{}: G</title>\n"
      "<style>\n{}\n{}</style>\n</head>\n",
      html_escaped(title),
      chart_style(),
      report_style());
}

std::string figure_html(const Figure& figure, std::string_view more_classes) {
  std::string dark;
  if (!figure.on_photograph) {
    dark = fmt::format("<source media=\"screen and (prefers-color-scheme: dark)\" srcset=\"{}\">\n",
                       data_uri(figure, dark_palette()));
  }
  return fmt::format(
      "<figure class=\"{}{}\">\n<figcaption>{}</figcaption>\n<div class=\"scroll\" tabindex=\"0\" "
      "role=\"group\" aria-label=\"figure\"><picture>\n{}<img width=\"{:.0f}\" height=\"{:.0f}\" "
      "alt=\"{}\" src=\"{}\">\n</picture></div>\n</figure>\n",
      figure.width_pt > kHalfWidth_pt ? "wide" : "half",
      more_classes,
      html_escaped(figure.title),
      dark,
      figure.width_pt / 0.75,
      figure.height_pt / 0.75,
      html_escaped(figure.alt),
      data_uri(figure, light_palette()));
}

std::string figures_html(std::span<const Figure> figures,
                         std::initializer_list<std::string_view> names) {
  std::string html;
  bool in_pair = false;
  for (const std::string_view name : names) {
    const auto figure = std::ranges::find(figures, name, &Figure::name);
    if (figure == figures.end()) continue;
    const bool half = figure->width_pt <= kHalfWidth_pt;
    if (half != in_pair) html += half ? "<div class=\"pair\">\n" : "</div>\n";
    in_pair = half;
    html += figure_html(*figure);
  }
  return in_pair ? html + "</div>\n" : html;
}

std::string heading(std::string_view text) {
  return fmt::format("<h2>{}</h2>\n", html_escaped(text));
}

std::string table_html(std::initializer_list<std::string_view> titles,
                       const std::vector<std::vector<std::string>>& rows) {
  std::string html =
      "<div class=\"table\" tabindex=\"0\" role=\"group\" aria-label=\"table\">"
      "<table>\n<thead><tr>";
  std::vector<std::string_view> classes;
  for (std::string_view title : titles) {
    const bool number = title.ends_with('#');
    if (number) title.remove_suffix(1);
    classes.push_back(number ? " class=\"number\"" : "");
    html += fmt::format("<th scope=\"col\"{}>{}</th>", classes.back(), html_escaped(title));
  }
  html += "</tr></thead>\n<tbody>\n";
  for (const auto& row : rows) {
    html += "<tr>";
    for (std::size_t k = 0; k < row.size(); ++k) {
      html += fmt::format("<td{}>{}</td>", classes.at(k), html_escaped(row[k]));
    }
    html += "</tr>\n";
  }
  return html + "</tbody></table></div>\n";
}

std::string list_html(const std::vector<std::string>& lines) {
  std::string html = "<ul>\n";
  for (const std::string& line : lines) html += fmt::format("<li>{}</li>\n", html_escaped(line));
  return html + "</ul>\n";
}

std::string g_html(const std::string& text) {
  std::string html = html_escaped(text);
  const auto replace = [&](std::string_view from, std::string_view to) {
    if (const auto at = html.find(from); at != std::string::npos) html.replace(at, from.size(), to);
  };
  replace("m3 kg-1 s-2", "m<sup>3</sup> kg<sup>\u22121</sup> s<sup>\u22122</sup>");
  if (const auto e = html.find("e-"); e != std::string::npos) {
    const auto end = html.find(' ', e);
    const std::string power = html.substr(e + 2, end - e - 2);
    html.replace(e, end - e, fmt::format(" \u00d7 10<sup>\u2212{}</sup>", power));
  }
  return html;
}

}  // namespace nightswing::tracker
