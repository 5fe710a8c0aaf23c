#include "tracker/page/page_state.h"

#include <nlohmann/json.hpp>

#include "tracker/run/csv_text.h"

namespace nightswing::tracker {
namespace {

nlohmann::json json_of(const std::vector<PageValue>& values) {
  auto json = nlohmann::json::array();
  for (const PageValue& value : values) json.push_back({value.name, value.text});
  return json;
}

nlohmann::json json_of(const Event& event) {
  nlohmann::json json{{"event", event.event}, {"detail", event.detail}};
  json["utc"] = event.utc ? nlohmann::json(iso_text(*event.utc)) : nlohmann::json();
  json["t_s"] = event.t_s ? nlohmann::json(*event.t_s) : nlohmann::json();
  return json;
}

/// Bytes that are no UTF-8 (of a file name, say) become question marks.
std::string dump(const nlohmann::json& json) {
  return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

}  // namespace

std::string json_text(const PageState& state) {
  nlohmann::json json{{"headline", state.headline},
                      {"well", state.is_well},
                      {"values", json_of(state.values)},
                      {"estimate_text", state.estimate_text},
                      {"estimate", json_of(state.estimate)},
                      {"warnings", state.warnings},
                      {"events", nlohmann::json::array()},
                      {"picture", state.picture},
                      {"may_mark", state.may_mark}};
  for (const Event& event : state.events) json["events"].push_back(json_of(event));
  return dump(json);
}

std::string json_text(std::span<const ChartPoint> points,
                      const std::string& edition,
                      const std::string& label,
                      const std::string& held_edition,
                      std::optional<double> since_s) {
  std::string rows;
  for (const ChartPoint& point : points) {
    if (held_edition == edition && since_s && point.t_s <= *since_s) continue;
    rows += (rows.empty() ? "[" : ",[") + number_text(point.t_s, 3) + ',' +
            number_text(point.position, 3) + ']';
  }
  std::string text = dump({{"edition", edition}, {"label", label}});
  text.insert(text.size() - 1, ",\"points\":[" + rows + "]");
  return text;
}

}  // namespace nightswing::tracker
