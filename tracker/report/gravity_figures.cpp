#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "analysis/quantities/quantity.h"
#include "tracker/report/axes.h"
#include "tracker/report/figures.h"
#include "tracker/run/csv_text.h"

namespace nightswing::tracker {
namespace {

constexpr double kRow_pt = 15.0;
constexpr double kText_pt = 8.5;
constexpr double kAside_pt = 132.0;

/// One bar a row: its name left, the bar, a text right of the area.
struct BarRow {
  std::string name;
  double value;
  std::string aside;
};

/// Room for the names left of the area: the widest decides, within limits.
double room_for_names_pt(Canvas& canvas, const std::vector<std::string>& names) {
  double widest_pt = 80.0;
  for (const std::string& name : names) {
    widest_pt = std::max(widest_pt, canvas.width_pt(name, {.size_pt = kText_pt, .colour = {}}));
  }
  return std::min(240.0, widest_pt + 8.0);
}

double height_of_rows(std::size_t rows) {
  return 20.0 + kRow_pt * static_cast<double>(rows) + 34.0;
}

void draw_bars(Canvas& canvas, const std::vector<BarRow>& rows, const std::string& label) {
  std::vector<double> values{0.0};
  std::vector<std::string> names;
  for (const BarRow& row : rows) {
    values.push_back(row.value);
    names.push_back(row.name);
  }
  const double names_pt = room_for_names_pt(canvas, names);
  const Range span = range_of(values, 0.05);
  const PaperBox area{names_pt,
                      14.0,
                      kPageWidth_pt - names_pt - kAside_pt,
                      kRow_pt * static_cast<double>(rows.size())};
  const bool one_sided = std::ranges::min(values) >= 0.0;
  const Axes axes(area, {one_sided ? 0.0 : span.from, span.to}, {0.0, 1.0});
  axes.draw(canvas, {label, ""}, false);
  const Palette& colours = canvas.palette();
  for (std::size_t k = 0; k < rows.size(); ++k) {
    const double top_pt = area.top_pt + kRow_pt * static_cast<double>(k);
    const double from_pt = axes.x_pt(std::min(0.0, rows[k].value));
    const double to_pt = axes.x_pt(std::max(0.0, rows[k].value));
    canvas.fill({from_pt, top_pt + 3.0, std::max(0.6, to_pt - from_pt), kRow_pt - 6.0},
                rows[k].value < 0.0 ? colours.minus : colours.plus);
    const double base_pt = top_pt + 0.5 * kRow_pt + 2.8;
    canvas.text({names_pt - 5.0, base_pt},
                rows[k].name,
                {.size_pt = kText_pt, .colour = colours.ink, .align = Align::kEnd});
    canvas.text({area.right_pt() + 5.0, base_pt},
                rows[k].aside,
                {.size_pt = kText_pt, .colour = colours.ink});
  }
  canvas.line({axes.x_pt(0.0), area.top_pt},
              {axes.x_pt(0.0), area.bottom_pt()},
              {.colour = colours.ink, .width_pt = 0.8});
}

Figure budget_figure(const ShownNight& night) {
  constexpr std::size_t kMostRows = 12;
  std::vector<BarRow> rows;
  std::string csv = "input,value,percent_of_G,share_of_variance\n";
  for (const ShownInput& input : night.budget) {
    if (rows.size() < kMostRows) {
      rows.push_back({input.name,
                      input.percent_of_g,
                      fmt::format("{} %  ({} % of u\u00b2)",
                                  small_text(input.percent_of_g, 3),
                                  small_text(100.0 * input.share, 1))});
    }
    csv += fmt::format("{},{},{},{}\n",
                       csv_field(input.name),
                       csv_field(input.text),
                       number_text(input.percent_of_g, 6),
                       number_text(input.share, 8));
  }
  std::string title = "Uncertainty budget: what each input contributes to the uncertainty of G";
  if (night.budget.size() > rows.size()) {
    title += fmt::format(" (the largest {} of {})", rows.size(), night.budget.size());
  }
  return {.name = "budget",
          .title = title,
          .alt = fmt::format(
              "Bars, the longest is {} with {:.3f} % of G.", rows.front().name, rows.front().value),
          .width_pt = kPageWidth_pt,
          .height_pt = height_of_rows(rows.size()),
          .csv = csv,
          .draw = [rows](Canvas& canvas) {
            draw_bars(canvas, rows, "contribution to the standard uncertainty (% of G)");
          }};
}

std::string signed_percent(double percent) {
  if (std::abs(percent) < 0.0005) return "less than 0.001 %";
  return fmt::format("{}{:.3f} %", percent < 0.0 ? "\u2212" : "+", std::abs(percent));
}

Figure correction_figure(const ShownNight& night) {
  std::vector<BarRow> rows;
  std::string csv = "correction,percent\n";
  for (const ShownCorrection& c : night.corrections) {
    rows.push_back({c.name, c.percent, signed_percent(c.percent)});
    csv += fmt::format("{},{}\n", csv_field(c.name), number_text(c.percent, 6));
  }
  return {.name = "corrections",
          .title = "Corrections: from the textbook value to the full model",
          .alt = fmt::format("Bars with the change of G in percent by each of {} corrections.",
                             rows.size()),
          .width_pt = kPageWidth_pt,
          .height_pt = height_of_rows(rows.size()),
          .csv = csv,
          .draw = [rows](Canvas& canvas) { draw_bars(canvas, rows, "change of G (%)"); }};
}

void draw_accepted(Canvas& canvas, const Axes& axes, const Comparison& comparison) {
  const Colour& ink = canvas.palette().minus;
  const double x_pt = axes.x_pt(kShownPerG * comparison.accepted_m3_kg_s2.value);
  canvas.line({x_pt, axes.area().top_pt},
              {x_pt, axes.area().bottom_pt()},
              {.colour = ink, .width_pt = 1.3, .dashes_pt = {4.0, 2.0}});
  canvas.text({x_pt, axes.area().top_pt - 4.0},
              "accepted value, " + comparison.accepted_source,
              {.size_pt = kText_pt, .colour = ink, .align = Align::kMiddle});
}

void draw_comparison(Canvas& canvas,
                     const std::vector<ShownOpinion>& opinions,
                     const Comparison& comparison) {
  std::vector<double> ends{kShownPerG * comparison.accepted_m3_kg_s2.value};
  std::vector<std::string> names;
  for (const ShownOpinion& o : opinions) {
    names.push_back(o.method);
    for (const double k : {-2.0, 2.0}) {
      ends.push_back(kShownPerG * (o.g_m3_kg_s2.value + k * o.g_m3_kg_s2.u));
    }
  }
  const double names_pt = room_for_names_pt(canvas, names);
  const double rows_pt = 20.0 * static_cast<double>(opinions.size());
  const Axes axes({names_pt, 18.0, kPageWidth_pt - names_pt - kAside_pt, rows_pt},
                  range_of(ends, 0.08),
                  {0.0, 1.0});
  axes.draw(canvas, {"G (10\u207b\u00b9\u00b9 m\u00b3 kg\u207b\u00b9 s\u207b\u00b2)", ""}, false);
  draw_accepted(canvas, axes, comparison);
  const Palette& colours = canvas.palette();
  for (std::size_t k = 0; k < opinions.size(); ++k) {
    const ShownOpinion& opinion = opinions[k];
    const analysis::Measured& g = opinion.g_m3_kg_s2;
    const double y_pt = axes.area().top_pt + 20.0 * (static_cast<double>(k) + 0.5);
    const auto x_pt = [&](double sigmas) {
      return axes.x_pt(kShownPerG * (g.value + sigmas * g.u));
    };
    canvas.line({x_pt(-2.0), y_pt}, {x_pt(2.0), y_pt}, {.colour = colours.plus, .width_pt = 1.0});
    canvas.line({x_pt(-1.0), y_pt}, {x_pt(1.0), y_pt}, {.colour = colours.plus, .width_pt = 4.0});
    canvas.marker({x_pt(0.0), y_pt},
                  {g.u > 0.0 ? MarkerShape::kDisc : MarkerShape::kRing, 7.0, colours.ink});
    canvas.text({names_pt - 5.0, y_pt + 2.8},
                opinion.method,
                {.size_pt = kText_pt, .colour = colours.ink, .align = Align::kEnd});
    canvas.text({axes.area().right_pt() + 5.0, y_pt + 2.8},
                g.u > 0.0 ? analysis::format_quantity(g, "")
                          : fmt::format("{:.3e} (no uncertainty)", g.value),
                {.size_pt = kText_pt, .colour = colours.ink});
  }
}

}  // namespace

Figure comparison_figure(const std::vector<ShownOpinion>& opinions,
                         const Comparison& comparison,
                         const std::string& g_text) {
  std::string csv = "method,G_m3_per_kg_s2,u_m3_per_kg_s2\n";
  for (const ShownOpinion& o : opinions) {
    csv += fmt::format("{},{},{}\n",
                       csv_field(o.method),
                       number_text(o.g_m3_kg_s2.value),
                       o.g_m3_kg_s2.u > 0.0 ? number_text(o.g_m3_kg_s2.u) : "");
  }
  const auto& accepted = comparison.accepted_m3_kg_s2;
  csv += fmt::format("{},{},{}\n",
                     csv_field("accepted value, " + comparison.accepted_source),
                     number_text(accepted.value),
                     number_text(accepted.u));
  const bool any_alone = std::ranges::any_of(opinions, &ShownOpinion::of_night_alone);
  return {.name = "comparison",
          .title = std::string("G: thick bar one, thin bar two standard uncertainties") +
                   (any_alone ? ", below the full model those of the night alone" : ""),
          .alt = fmt::format("G = {}. {}", g_text, comparison.sentence),
          .width_pt = kPageWidth_pt,
          .height_pt = 18.0 + 20.0 * static_cast<double>(opinions.size()) + 34.0,
          .csv = csv,
          .draw = [opinions, comparison](Canvas& canvas) {
            draw_comparison(canvas, opinions, comparison);
          }};
}

std::vector<Figure> gravity_figures(const ShownNight& night) {
  std::vector<Figure> figures;
  if (night.comparison) {
    figures.push_back(comparison_figure(night.opinions, *night.comparison, night.g_text));
  };
  if (!night.budget.empty()) figures.push_back(budget_figure(night));
  if (!night.corrections.empty()) figures.push_back(correction_figure(night));
  return figures;
}

}  // namespace nightswing::tracker
