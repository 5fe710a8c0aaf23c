#include "tracker/report/report_page.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "analysis/quantities/quantity.h"
#include "tracker/report/axes.h"
#include "tracker/report/embedded_text.h"
#include "tracker/report/figures.h"
#include "tracker/report/html_text.h"
#include "tracker/report/page_parts.h"
#include "tracker/run/csv_text.h"
#include "tracker/text/time_text.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kMostZoomable = 20000;

std::string result_html(const ShownNight& night) {
  std::string html = "<section class=\"result\" aria-label=\"result\">\n";
  if (!night.g_m3_kg_s2) {
    html += fmt::format("<p class=\"value\">no G: {}</p>\n<p>{}</p>\n",
                        html_escaped(night.status),
                        html_escaped(night.message));
    return html + "</section>\n";
  }
  const auto& g = *night.g_m3_kg_s2;
  const auto interval = [&](double k) {
    return fmt::format(
        "{:.3f} to {:.3f}", kShownPerG * (g.value - k * g.u), kShownPerG * (g.value + k * g.u));
  };
  html += fmt::format("<p class=\"value\"><i>G</i> = {}</p>\n", g_html(night.g_text));
  html += fmt::format(
      "<p>Standard uncertainty {:.2f}&nbsp;% (k&nbsp;=&nbsp;1). In units of "
      "10<sup>\u221211</sup>&nbsp;m<sup>3</sup>&nbsp;kg<sup>\u22121</sup>&nbsp;s<sup>\u22122</"
      "sup>: "
      "{} (two times in three), {} with k&nbsp;=&nbsp;2 (about nineteen times in "
      "twenty).</p>\n",
      100.0 * g.u / g.value,
      interval(1.0),
      interval(2.0));
  if (!night.interval_text.empty()) {
    html += fmt::format("<p>95&nbsp;% interval, in the same units: {}.</p>\n",
                        html_escaped(night.interval_text));
  }
  html += fmt::format("<p>{}</p>\n</section>\n",
                      night.comparison ? html_escaped(night.comparison->sentence)
                                       : "<strong>Blind</strong>: every value of G here carries "
                                         "the same hidden factor, until analyse --open.");
  return html;
}

/// The night's data for the script; as JSON it cannot end the script element, because `<` is
/// written as its code.
std::string night_json(const ShownNight& night) {
  nlohmann::json json;
  json["segments"] = nlohmann::json::array();
  for (const ShownSegment& s : night.segments) {
    json["segments"].push_back(
        {{"side", s.side}, {"from_h", s.from_s / kHour_s}, {"to_h", s.to_s / kHour_s}});
  }
  std::vector<std::string> sides{"plus", "minus"};
  if (std::ranges::find(night.segments, "away", &ShownSegment::side) != night.segments.end()) {
    sides.emplace_back("away");
  }
  json["sides"] = sides;
  json["events"] = nlohmann::json::array();
  for (const ShownEvent& e : night.events) {
    if (!is_marked(e)) continue;
    const std::string words = e.event == "side" ? "sources at " + e.detail : e.event;
    json["events"].push_back({{"t_h", *e.t_s / kHour_s}, {"event", words}});
  }
  std::string rows;
  const std::size_t step = night.samples.size() / kMostZoomable + 1;
  for (std::size_t i = 0; i < night.samples.size(); i += step) {
    const ShownSample& s = night.samples[i];
    const ShownSegment* segment = segment_at(night, s.t_s);
    rows += fmt::format("{}[{},{}",
                        rows.empty() ? "" : ",\n",
                        number_text(s.t_s / kHour_s, 6),
                        number_text(s.x_mm, 3));
    for (const std::string& side : sides) {
      const bool fitted = s.residual_mm && segment != nullptr && segment->side == side;
      rows += ',' + (fitted ? number_text(s.x_mm - *s.residual_mm, 3) : std::string("null"));
    }
    rows += ']';
  }
  std::string text = json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
  text.insert(text.size() - 1, ",\"rows\":[" + rows + "]");
  for (std::size_t at = 0; (at = text.find('<', at)) != std::string::npos;) {
    text.replace(at, 1, "\\u003c");
  }
  return text;
}

std::string night_html(std::span<const Figure> figures) {
  const auto figure = std::ranges::find(figures, "night", &Figure::name);
  if (figure == figures.end()) return {};
  return heading("The night") + figure_html(*figure, " static-night") +
         fmt::format(
             "<div class=\"zoom\">\n<p class=\"faint\">Drag across the chart, or move the handles "
             "below it, to look closer. <button type=\"button\" id=\"whole-night\">whole "
             "night</button></p>\n<div id=\"zoomable\" role=\"img\" aria-label=\"{}\"></div>\n"
             "</div>\n",
             html_escaped(figure->alt));
}

std::string segments_html(const ShownNight& night) {
  std::vector<std::vector<std::string>> rows;
  for (const ShownSegment& s : night.segments) {
    rows.push_back({s.side,
                    fmt::format("{:.2f} to {:.2f}", s.from_s / kHour_s, s.to_s / kHour_s),
                    analysis::format_quantity(s.equilibrium_mm, ""),
                    fmt::format("{:.1f}", s.periods),
                    fmt::format("{:.1f} to {:.1f}", s.amplitude_from_mm, s.amplitude_to_mm),
                    tick_text(s.residual_mean_mm, 1e-4),
                    tick_text(s.residual_rms_mm, 1e-4),
                    fmt::format("{}", s.used)});
  }
  return table_html({"side",
                     "time (h)#",
                     "equilibrium (mm)#",
                     "periods#",
                     "swing (mm)#",
                     "residuals: mean (mm)#",
                     "r.m.s. (mm)#",
                     "readings#"},
                    rows);
}

std::string swing_html(const ShownNight& night, std::span<const Figure> figures) {
  if (night.segments.empty()) return {};
  std::vector<std::vector<std::string>> rows;
  for (const ShownQuantity& q : night.quantities) rows.push_back({q.name, q.text});
  return heading("Swing and equilibria") + table_html({"quantity", "value"}, rows) +
         fmt::format("<p>Segments: {}.</p>\n", html_escaped(night.sides_from)) +
         segments_html(night) +
         fmt::format(
             "<p>One position scatters by {:.4f} mm about what the fit, knowing rest positions and "
             "period, foretells from the positions before it. Random torque, readings that are "
             "alike and the drift make the uncertainty of the shift {:.1f} times that of "
             "independent readings.</p>\n",
             night.residual_rms_mm,
             night.correlation_widening) +
         figures_html(figures,
                      {"residuals",
                       "residual_distribution",
                       "residual_autocorrelation",
                       "folded_swing",
                       "drift"});
}

std::string effects_html(const ShownNight& night) {
  if (night.not_in_budget.empty()) return {};
  std::vector<std::vector<std::string>> rows;
  for (const ShownEffect& e : night.not_in_budget) rows.push_back({e.effect, e.size, e.remedy});
  return heading("Not in the budget") +
         table_html({"what could still be wrong",
                     "size in G (without a source: rough, common practice)",
                     "what to do"},
                    rows);
}

std::string gravity_html(const ShownNight& night, std::span<const Figure> figures) {
  if (!night.g_m3_kg_s2) return {};
  std::string html =
      heading("Where the uncertainty comes from") + figures_html(figures, {"budget"});
  std::vector<std::vector<std::string>> rows;
  for (const ShownInput& input : night.budget) {
    rows.push_back({input.name,
                    input.text,
                    small_text(input.percent_of_g, 4),
                    small_text(100.0 * input.share, 1)});
  }
  html += table_html({"input", "value", "u of G by it (%)#", "share of u\u00b2 (%)#"}, rows);
  if (!night.budget_note.empty()) {
    html += fmt::format("<p>{}</p>\n", html_escaped(night.budget_note));
  }
  html += heading("Corrections to the textbook formula") + figures_html(figures, {"corrections"});
  rows.clear();
  for (const ShownOpinion& o : night.opinions) {
    rows.push_back(
        {o.method + (o.of_night_alone ? " (u of the night alone)" : ""),
         fmt::format("{:.4f}", kShownPerG * o.g_m3_kg_s2.value),
         o.g_m3_kg_s2.u > 0.0 ? fmt::format("{:.4f}", kShownPerG * o.g_m3_kg_s2.u) : "none"});
  }
  html += heading("Methods side by side") +
          table_html({"method",
                      "G (10\u207b\u00b9\u00b9 m\u00b3 kg\u207b\u00b9 s\u207b\u00b2)#",
                      "u (10\u207b\u00b9\u00b9 m\u00b3 kg\u207b\u00b9 s\u207b\u00b2)#"},
                     rows);
  if (!night.opinions_agree.empty()) {
    html += fmt::format(
        "<p>The u of the full model holds everything, those of the other ways what the night alone "
        "leaves in doubt; {}.</p>\n",
        html_escaped(night.opinions_agree));
  }
  return html + effects_html(night);
}

std::string grounds_html(const ShownNight& night,
                         std::span<const Figure> figures,
                         const std::string& cautions) {
  std::string html = heading("Calibration") +
                     fmt::format("<p>{}</p>\n", html_escaped(night.wall_text)) +
                     figures_html(figures, {"calibration"});
  html += heading("Apparatus") + fmt::format("<pre>{}</pre>\n", html_escaped(night.apparatus_text));
  if (!night.assumptions.empty()) {
    html += heading("Assumed") + list_html(night.assumptions);
  }
  std::vector<std::vector<std::string>> rows;
  for (const ShownQuantity& q : night.frames) rows.push_back({q.name, q.text});
  html += heading("Frames") + table_html({"state", "frames#"}, rows);
  rows.clear();
  for (const ShownEvent& e : night.events) rows.push_back({e.when, e.event, e.detail});
  html += heading("Log") + table_html({"time", "event", "detail"}, rows);
  html += heading("Cautions") + fmt::format("<p>{}</p>\n", html_escaped(cautions));
  html += heading("How to repeat this") +
          fmt::format("<p>Made by {} from {}. These commands make it again.</p>\n<pre>",
                      html_escaped(night.program),
                      html_escaped(night.source));
  for (const std::string& command : night.commands) html += html_escaped(command) + '\n';
  return html + "</pre>\n";
}

std::string scripts_html(const ShownNight& night) {
  return fmt::format(
      "<script type=\"application/json\" id=\"night-data\">{}</script>\n"
      "<script type=\"text/plain\" id=\"chart-licence\">{}</script>\n"
      "<script>\n{}\n</script>\n<script>\n{}{}</script>\n",
      night_json(night),
      chart_licence(),
      chart_library(),
      night_chart_script(),
      report_script());
}

}  // namespace

std::string report_page(const ShownNight& night,
                        std::span<const Figure> figures,
                        const std::string& cautions) {
  std::string html = head_html(night.title);
  html += fmt::format("<body>\n<main>\n<h1>{}</h1>\n<p class=\"faint\">run {}{}</p>\n",
                      html_escaped(night.title),
                      html_escaped(night.run),
                      night.start ? ", first frame " + iso_text(*night.start) : "");
  html += result_html(night) + figures_html(figures, {"comparison"});
  if (!night.warnings.empty()) html += heading("Warnings") + list_html(night.warnings);
  html += heading("The wall") + figures_html(figures, {"wall"});
  html += night_html(figures) + swing_html(night, figures) + gravity_html(night, figures);
  html += grounds_html(night, figures, cautions) + "</main>\n";
  if (!night.samples.empty()) html += scripts_html(night);
  return html + "</body>\n</html>\n";
}

}  // namespace nightswing::tracker
