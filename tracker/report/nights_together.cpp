#include "tracker/report/nights_together.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "analysis/quantities/quantity.h"
#include "tracker/report/figures.h"
#include "tracker/report/html_text.h"
#include "tracker/report/page_parts.h"
#include "tracker/result/comparison.h"
#include "tracker/result/quantity_json.h"
#include "tracker/text/text_lines.h"
#include "tracker/version.h"

namespace nightswing::tracker {
namespace {

using analysis::CombinedNights;
using analysis::format_quantity;
using analysis::Measured;
using Json = nlohmann::ordered_json;

std::string when(const NightBeside& night) {
  return night.start ? iso_text(*night.start).substr(0, 16) : "start not known";
}

std::string night_lines(const NightBeside& night, const analysis::NightInCombination* beside) {
  std::string text = fmt::format(
      "{}  ({}{}{})\n", night.run, when(night), night.balance.empty() ? "" : ", ", night.balance);
  if (night.g) {
    text += fmt::format("    G = {}", format_quantity(night.g->g, kUnitOfG));
    if (beside != nullptr) {
      text += fmt::format(
          "   weight {:.0f} %, {:+.1f} u from the mean", 100.0 * beside->weight, beside->deviation);
    }
    text += '\n';
  } else {
    text += fmt::format("    no G: {}; left out of the mean\n", night.status);
  }
  if (night.period_s && night.shift_mm) {
    text += fmt::format("    period {}, shift {}\n",
                        format_quantity(*night.period_s, "s"),
                        format_quantity(*night.shift_mm, "mm"));
  }
  return text;
}

Json json_of(const NightBeside& night, const analysis::NightInCombination* beside) {
  Json json{{"run", night.run}, {"apparatus", night.balance}};
  json["start"] = night.start ? Json(iso_text(*night.start)) : Json(nullptr);
  json["status"] = night.status;
  json["G"] = night.g ? quantity_json(night.g->g) : Json(nullptr);
  json["period_s"] = quantity_json(night.period_s);
  json["shift_mm"] = quantity_json(night.shift_mm);
  json["weight"] = beside != nullptr ? Json(beside->weight) : Json(nullptr);
  json["own_u"] = beside != nullptr ? Json(beside->own_u) : Json(nullptr);
  json["deviation"] = beside != nullptr ? Json(beside->deviation) : Json(nullptr);
  return json;
}

/// Calls `use(night, beside)` for each night; `beside` is null for one that is not in the mean.
template <typename Use>
void for_each_night(const NightsTogether& together, const Use& use) {
  std::size_t used = 0;
  for (const NightBeside& night : together.nights) {
    const bool is_used = night.g && together.combined;
    use(night, is_used ? &together.combined->nights[used] : nullptr);
    if (is_used) ++used;
  }
}

std::string agreement(const CombinedNights& combined) {
  std::string text = fmt::format(
      "The nights scatter {:.2f} times as much as their own uncertainties say (Birge ratio; "
      "expected 1 give or take {:.2f}). ",
      combined.birge_ratio,
      combined.birge_spread);
  if (!combined.nights_differ()) return text + "They agree.";
  return text + fmt::format(
                    "They do not agree: something changed from night to night that no "
                    "uncertainty allows for. Were their own uncertainties too small by "
                    "this ratio, u(G) would be {:.2g} {}.",
                    combined.widened_u,
                    kUnitOfG);
}

/// Two nights of one balance cannot be at the same time; clocks may be off by a minute.
std::vector<std::string> overlaps(const std::vector<NightBeside>& nights) {
  constexpr double kClocks_s = 60.0;
  std::vector<std::string> warnings;
  for (std::size_t k = 1; k < nights.size(); ++k) {
    for (std::size_t i = 0; i < k; ++i) {
      const NightBeside& a = nights[i];
      const NightBeside& b = nights[k];
      if (!a.start || !a.end || !b.start || !b.end) continue;
      const UtcTime from = std::max(*a.start, *b.start);
      const double both_s = seconds_between(from, std::min(*a.end, *b.end));
      if (both_s <= kClocks_s) continue;
      warnings.push_back(fmt::format(
          "{} and {} were watched at the same time, for {} from {} on, so they are no two nights "
          "of one balance: leave one out, or if a clock was wrong, replay that film with --start",
          a.run,
          b.run,
          duration_text(both_s),
          iso_text(from)));
    }
  }
  return warnings;
}

std::string shared_doubts(const CombinedNights& combined) {
  if (combined.shared.empty()) {
    return "The nights share no input: each balance was measured for itself.";
  }
  std::string names;
  for (const std::string& name : combined.shared) names += (names.empty() ? "" : "; ") + name;
  return fmt::format(
      "Shared by nights, so more nights do not lessen it: {:.2g} {} of u(G), from {}.",
      combined.common_u,
      kUnitOfG,
      names);
}

}  // namespace

NightBeside night_beside(const ResultSource& source) {
  const analysis::NightResult& result = source.result;
  NightBeside night{.run = source.run.path.string(),
                    .balance = source.apparatus.title,
                    .start = source.night.info.start,
                    .end = {},
                    .is_analysed = true,
                    .status = std::string(name_of(result.status)),
                    .g = {},
                    .period_s = {},
                    .shift_mm = {}};
  if (!source.night.night.samples.empty()) {
    night.end = utc_at(source.night.info, source.night.night.samples.back().t_s);
  }
  if (result.fit.status != analysis::FitStatus::kNotConverged) {
    night.period_s = result.fit.period_s;
    night.shift_mm = result.shift_mm;
  }
  if (result.gravity && result.budget) {
    night.g = analysis::NightValue{.name = night.run,
                                   .g = {result.gravity->g_m3_kg_s2, result.budget->u},
                                   .rows = result.budget->rows};
  }
  return night;
}

NightsTogether nights_together(std::vector<NightBeside> nights) {
  NightsTogether together{.nights = std::move(nights), .combined = {}, .warnings = {}};
  together.warnings = overlaps(together.nights);
  std::vector<analysis::NightValue> values;
  for (const NightBeside& night : together.nights) {
    if (night.g) values.push_back(*night.g);
  }
  if (values.size() >= 2) together.combined = analysis::combine_nights(values);
  return together;
}

std::string nights_text(const NightsTogether& together) {
  std::string text = fmt::format("{} nights\n\n", together.nights.size());
  for_each_night(together, [&](const NightBeside& night, const auto* beside) {
    text += night_lines(night, beside);
  });
  text += '\n';
  for (const std::string& warning : together.warnings) {
    text += in_lines("warning: " + warning, "") + '\n';
  }
  if (!together.combined) {
    return text + "no G of several nights: fewer than two of them give one\n";
  }
  const CombinedNights& combined = *together.combined;
  text += fmt::format("G = {}   ({:.2f} %, standard uncertainty, k = 1)\n",
                      format_quantity(combined.g, kUnitOfG),
                      100.0 * combined.g.u / combined.g.value);
  for (const std::string& sentence :
       {compare_with_accepted(combined.g).sentence, agreement(combined), shared_doubts(combined)}) {
    text += in_lines(sentence, "    ");
  }
  return text;
}

std::string nights_json(const NightsTogether& together) {
  Json json{{"program", program_and_version()}, {"nights", Json::array()}};
  for_each_night(together, [&](const NightBeside& night, const auto* beside) {
    json["nights"].push_back(json_of(night, beside));
  });
  json["warnings"] = together.warnings;
  json["G"] = nullptr;
  if (together.combined) {
    const CombinedNights& combined = *together.combined;
    json["G"] = {{"value", combined.g.value},
                 {"u", combined.g.u},
                 {"unit", kUnitOfG},
                 {"coverage_factor", 1},
                 {"common_u", combined.common_u},
                 {"widened_u", combined.widened_u}};
    json["birge_ratio"] = combined.birge_ratio;
    json["birge_spread"] = combined.birge_spread;
    json["shared_inputs"] = combined.shared;
  }
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

std::vector<Figure> nights_figures(const NightsTogether& together) {
  if (!together.combined) return {};
  const Measured& g = together.combined->g;
  std::vector<ShownOpinion> values{{"together", g}};
  for (const NightBeside& night : together.nights) {
    if (night.g) values.push_back({night.run, night.g->g});
  }
  return {comparison_figure(values, compare_with_accepted(g), format_quantity(g, kUnitOfG))};
}

std::string nights_page(const NightsTogether& together, std::span<const Figure> figures) {
  std::string html = head_html(fmt::format("{} nights", together.nights.size()));
  html += fmt::format(
      "<body>\n<main>\n<h1>{} nights</h1>\n<section class=\"result\" "
      "aria-label=\"result\">\n",
      together.nights.size());
  if (together.combined) {
    const CombinedNights& combined = *together.combined;
    html += fmt::format("<p class=\"value\">G = {}</p>\n<p>{}</p>\n<p>{}</p>\n<p>{}</p>\n",
                        g_html(format_quantity(combined.g, kUnitOfG)),
                        html_escaped(compare_with_accepted(combined.g).sentence),
                        html_escaped(agreement(combined)),
                        html_escaped(shared_doubts(combined)));
  } else {
    html += "<p class=\"value\">no G of several nights: fewer than two of them give one</p>\n";
  }
  html += "</section>\n" + figures_html(figures, {"comparison"});
  if (!together.warnings.empty()) html += heading("Warnings") + list_html(together.warnings);
  std::vector<std::vector<std::string>> rows;
  for_each_night(together, [&](const NightBeside& night, const auto* beside) {
    const auto text = [](const std::optional<Measured>& quantity, const char* unit) {
      return quantity ? format_quantity(*quantity, unit) : std::string();
    };
    rows.push_back({night.run,
                    when(night),
                    night.balance,
                    night.g ? format_quantity(night.g->g, "") : "no G: " + night.status,
                    beside != nullptr ? fmt::format("{:.0f} %", 100.0 * beside->weight) : "",
                    beside != nullptr ? fmt::format("{:+.1f}", beside->deviation) : "",
                    text(night.period_s, "s"),
                    text(night.shift_mm, "mm")});
  });
  html += heading("Night by night") + table_html({"run",
                                                  "first frame",
                                                  "balance",
                                                  "G (m3 kg-1 s-2)#",
                                                  "weight#",
                                                  "u from the mean#",
                                                  "period#",
                                                  "shift#"},
                                                 rows);
  return html + "</main>\n</body>\n</html>\n";
}

}  // namespace nightswing::tracker
