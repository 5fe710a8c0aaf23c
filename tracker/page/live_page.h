#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "analysis/positions/swing_series.h"
#include "tracker/page/bounded_server.h"
#include "tracker/page/page_address.h"
#include "tracker/page/page_state.h"

namespace nightswing::tracker {

/// What a live page is made of. The functions are called in the page's thread, one at a time.
struct PageParts {
  std::string title;
  std::string cautions;
  std::function<PageState()> state;
  /// The newest picture as JPEG; empty if there is none yet.
  std::function<std::string()> picture;
  /// Of the chart, as JSON (page_state.h); none: no chart.
  std::function<std::string(const std::string& held_edition, std::optional<double> since_s)>
      track{};
  /// Notes where the sources are now and says so in a sentence; none: cannot be noted.
  std::function<std::string(analysis::Side side)> mark{};
};

/// A page of this computer that shows how it goes; everything on it comes from the program itself.
///
/// path           method  what
/// /              GET     the page
/// /page.css, /page.js, /chart.js    its parts, without secrets
/// /state.json, /track.json?edition=E&since=S, /picture.jpg
/// /mark?side=S   POST    plus, minus or away
///
/// Everything else is 404. `mark` needs `token=` in its query, an open page needs it for everything
/// but the parts. Requests that another page has a browser make (`Sec-Fetch-Site`, `Origin`) are
/// refused, but for opening the page itself, and so is every request under a foreign name (`Host`).
class LivePage {
 public:
  /// Served from now on. throws InputError if nothing can be served there.
  LivePage(const PageAddress& address,
           PageParts parts,
           std::string token = random_token(),
           const ServerLimits& limits = {});

  /// As people type it, the token in it; more than one if it is served at all addresses.
  [[nodiscard]] std::vector<std::string> urls() const;
  [[nodiscard]] int port() const { return server_.port(); }
  [[nodiscard]] const std::string& token() const { return token_; }

 private:
  [[nodiscard]] PageResponse answer(const PageRequest& request);
  [[nodiscard]] std::optional<PageResponse> refusal(const PageRequest& request) const;
  [[nodiscard]] PageResponse mark(const PageRequest& request) const;

  PageAddress address_;
  PageParts parts_;
  std::string token_;
  BoundedServer server_;  // last: it uses all of the above
};

}  // namespace nightswing::tracker
