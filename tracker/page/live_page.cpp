#include "tracker/page/live_page.h"

#include <algorithm>
#include <utility>

#include "analysis/quantities/quantity.h"
#include "tracker/page/page_html.h"
#include "tracker/report/embedded_text.h"
#include "tracker/run/event_log.h"

namespace nightswing::tracker {
namespace {

/// Of the page itself or typed by a person; an old browser does not say.
bool is_from_here(const PageRequest& request) {
  return request.fetch_site.empty() || request.fetch_site == "same-origin" ||
         request.fetch_site == "none";
}

bool is_secret(const std::string& path) {
  return path != "/page.css" && path != "/page.js" && path != "/chart.js";
}

PageResponse json(std::string text) {
  return {.type = "application/json", .body = std::move(text)};
}

}  // namespace

LivePage::LivePage(const PageAddress& address,
                   PageParts parts,
                   std::string token,
                   const ServerLimits& limits)
    : address_(address),
      parts_(std::move(parts)),
      token_(std::move(token)),
      server_(address, limits) {
  server_.serve([this](const PageRequest& request) { return answer(request); });
}

std::vector<std::string> LivePage::urls() const {
  return page_urls(address_, port(), token_);
}

std::optional<PageResponse> LivePage::refusal(const PageRequest& request) const {
  const auto refuse = [](int status, const std::string& why) {
    return PageResponse{.status = status, .body = why + "\n"};
  };
  if (!is_own_host(address_, port(), request.host)) {
    return refuse(421, "this is not the name of this page");
  }
  const bool is_mark = request.path == "/mark" && parts_.mark;
  const bool reads = request.method == "GET" || request.method == "HEAD";
  if (is_mark ? request.method != "POST" : !reads) return refuse(405, "not so");
  if (request.path != "/" && !is_from_here(request)) return refuse(403, "not from another page");
  if (is_mark && !request.origin.empty() && request.origin != "http://" + request.host) {
    return refuse(403, "not from another page");
  }
  const bool needs_token = is_mark || (address_.is_open && is_secret(request.path));
  if (needs_token && !is_same_secret(request.parameter("token"), token_)) {
    return refuse(403, "open the address that nightswing printed, with the token in it");
  }
  return std::nullopt;
}

PageResponse LivePage::mark(const PageRequest& request) const {
  const auto side = side_from(request.parameter("side"));
  if (!side) return {.status = 400, .body = "a side is plus, minus or away\n"};
  return {.body = parts_.mark(*side)};
}

PageResponse LivePage::answer(const PageRequest& request) {
  if (auto refused = refusal(request)) return *refused;
  const std::string& path = request.path;
  if (path == "/") {
    return {.type = "text/html; charset=utf-8",
            .body = page_html({.title = parts_.title,
                               .cautions = parts_.cautions,
                               .has_chart = static_cast<bool>(parts_.track),
                               .can_mark = static_cast<bool>(parts_.mark)})};
  }
  if (path == "/page.css") return {.type = "text/css; charset=utf-8", .body = page_css()};
  if (path == "/page.js") return {.type = "text/javascript; charset=utf-8", .body = page_js()};
  if (path == "/chart.js") {
    return {.type = "text/javascript; charset=utf-8", .body = std::string(chart_library())};
  }
  if (path == "/state.json") {
    PageState state = parts_.state();
    state.may_mark = parts_.mark && is_same_secret(request.parameter("token"), token_);
    return json(json_text(state));
  }
  if (path == "/track.json" && parts_.track) {
    return json(parts_.track(request.parameter("edition"),
                             analysis::parse_number(request.parameter("since"))));
  }
  if (path == "/picture.jpg") {
    std::string picture = parts_.picture();
    if (picture.empty()) return {.status = 404, .body = "no picture yet\n"};
    return {.type = "image/jpeg", .body = std::move(picture)};
  }
  if (path == "/mark" && parts_.mark) return mark(request);
  return {.status = 404, .body = "nothing here\n"};
}

}  // namespace nightswing::tracker
