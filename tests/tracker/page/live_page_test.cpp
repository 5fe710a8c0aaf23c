#include "tracker/page/live_page.h"

#include <stdexcept>

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "tests/support/raw_connection.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

/// A page with something of everything, and what was noted on it.
struct Served {
  std::vector<nightswing::analysis::Side> noted;
  LivePage page;

  explicit Served(const PageAddress& address = {.port = 0})
      : page(address,
             {.title = "a night",
              .cautions = "Look away from the laser.",
              .state = [] { return PageState{.headline = "it goes well"}; },
              .picture = [] { return std::string("JPEG"); },
              .track = [](const std::string& edition,
                          std::optional<double>) { return "{\"edition\":\"" + edition + "\"}"; },
              .mark =
                  [this](nightswing::analysis::Side side) {
                    noted.push_back(side);
                    return std::string("noted");
                  }}) {}

  [[nodiscard]] std::string host() const { return "127.0.0.1:" + std::to_string(page.port()); }
  [[nodiscard]] std::string ask(const std::string& first, const std::string& headers = "") const {
    return said_to(page.port(), first + " HTTP/1.1\r\nHost: " + host() + "\r\n" + headers + "\r\n");
  }
  [[nodiscard]] int status(const std::string& first, const std::string& headers = "") const {
    return status_of(ask(first, headers));
  }
  [[nodiscard]] std::string mark(const std::string& side) const {
    return "POST /mark?side=" + side + "&token=" + page.token();
  }
};

}  // namespace

TEST_SUITE("live page") {
  TEST_CASE("all its parts are served, as what they are") {
    const Served served;
    const auto type = [&](const std::string& path) {
      const std::string response = served.ask("GET " + path);
      CHECK(status_of(response) == 200);
      const auto at = response.find("Content-Type: ") + 14;
      return response.substr(at, response.find("\r\n", at) - at);
    };
    CHECK(type("/") == "text/html; charset=utf-8");
    CHECK(type("/page.css") == "text/css; charset=utf-8");
    CHECK(type("/page.js") == "text/javascript; charset=utf-8");
    CHECK(type("/chart.js") == "text/javascript; charset=utf-8");
    CHECK(type("/picture.jpg") == "image/jpeg");
    CHECK(type("/state.json") == "application/json");
    CHECK(type("/track.json?edition=7") == "application/json");
    const auto state = nlohmann::json::parse(body_of(served.ask("GET /state.json")));
    CHECK(state["headline"] == "it goes well");
    CHECK(body_of(served.ask("GET /track.json?edition=7")) == "{\"edition\":\"7\"}");
  }

  TEST_CASE("no path leads to a file") {
    const Served served;
    for (const char* path : {"/../../../../etc/passwd",
                             "/..%2f..%2f..%2fetc%2fpasswd",
                             "/%2e%2e/%2e%2e/etc/passwd",
                             "//etc/passwd",
                             "/page.css/../../etc/passwd",
                             "/etc/passwd%00.css",
                             "/..\\..\\etc\\passwd",
                             "/page.cpp",
                             "/PAGE.CSS"}) {
      CAPTURE(path);
      const std::string response = served.ask(std::string("GET ") + path);
      CHECK(status_of(response) == 404);
      CHECK(body_of(response) == "nothing here\n");
    }
    CHECK(served.status("GET file:///etc/passwd") != 200);
  }

  TEST_CASE("a side is noted with the token only") {
    Served served;
    CHECK(served.status("POST /mark?side=plus") == 403);
    CHECK(served.status("POST /mark?side=plus&token=") == 403);
    CHECK(served.status("POST /mark?side=plus&token=" + std::string(32, '0')) == 403);
    CHECK(served.status("POST /mark?side=plus&token=" + served.page.token().substr(1)) == 403);
    CHECK(served.noted.empty());
    CHECK(served.status(served.mark("plus")) == 200);
    CHECK(served.status(served.mark("minus")) == 200);
    CHECK(served.status(served.mark("away")) == 200);
    using enum nightswing::analysis::Side;
    CHECK(served.noted == std::vector{kPlus, kMinus, kAway});
  }

  TEST_CASE("a side that is none is refused") {
    const Served served;
    CHECK(served.status(served.mark("up")) == 400);
    CHECK(served.status(served.mark("")) == 400);
    CHECK(served.status(served.mark("plus%00")) == 400);
    CHECK(served.noted.empty());
  }

  TEST_CASE("nothing is noted by other methods than POST, nothing else changed by it") {
    const Served served;
    const std::string query = "/mark?side=plus&token=" + served.page.token();
    for (const char* method : {"GET", "HEAD", "PUT", "DELETE", "OPTIONS", "PATCH"}) {
      CAPTURE(method);
      CHECK(served.status(fmt::format("{} {}", method, query)) == 405);
    }
    for (const char* path : {"/", "/state.json", "/picture.jpg", "/page.js"}) {
      CAPTURE(path);
      CHECK(served.status(std::string("POST ") + path) == 405);
      CHECK(served.status(std::string("DELETE ") + path) == 405);
    }
    CHECK(served.noted.empty());
  }

  TEST_CASE("another page cannot have a browser note a side, even with the token") {
    const Served served;
    const std::string own = "Origin: http://" + served.host() + "\r\n";
    for (const std::string headers : {"Origin: http://evil.example\r\n",
                                      "Origin: null\r\n",
                                      "Origin: http://127.0.0.1:1\r\n",
                                      "Sec-Fetch-Site: cross-site\r\n",
                                      "Sec-Fetch-Site: same-site\r\n"}) {
      CAPTURE(headers);
      CHECK(served.status(served.mark("plus"), headers) == 403);
    }
    CHECK(served.status(served.mark("plus"), own + "Sec-Fetch-Site: cross-site\r\n") == 403);
    CHECK(served.noted.empty());
    CHECK(served.status(served.mark("plus"), own + "Sec-Fetch-Site: same-origin\r\n") == 200);
    CHECK(served.noted.size() == 1);
  }

  TEST_CASE(
      "another page can neither read nor embed anything, a link to the page may be followed") {
    const Served served;
    const std::string cross = "Sec-Fetch-Site: cross-site\r\n";
    for (const char* path : {"/state.json", "/track.json", "/picture.jpg", "/page.js"}) {
      CAPTURE(path);
      CHECK(served.status(std::string("GET ") + path, cross) == 403);
      CHECK(served.status(std::string("GET ") + path, "Sec-Fetch-Site: same-origin\r\n") == 200);
    }
    const std::string page = served.ask("GET /", cross);
    CHECK(status_of(page) == 200);
    CHECK(page.find("frame-ancestors 'none'") != std::string::npos);
  }

  TEST_CASE("a foreign name that points here is refused") {
    const Served served;
    const auto under = [&](const std::string& host, const std::string& first) {
      return status_of(
          said_to(served.page.port(), first + " HTTP/1.1\r\nHost: " + host + "\r\n\r\n"));
    };
    const std::string port = fmt::format(":{}", served.page.port());
    CHECK(under("localhost" + port, "GET /") == 200);
    CHECK(under("evil.example" + port, "GET /") == 421);
    CHECK(under("evil.example" + port, "GET /state.json") == 421);
    CHECK(under("evil.example" + port, served.mark("plus")) == 421);
    CHECK(served.noted.empty());
  }

  TEST_CASE("an open page shows nothing of the night without the token") {
    const Served served({.host = "0.0.0.0", .port = 0, .is_open = true});
    const std::string token = "token=" + served.page.token();
    for (const std::string path : {"/", "/state.json", "/track.json", "/picture.jpg"}) {
      CAPTURE(path);
      CHECK(served.status(fmt::format("GET {}", path)) == 403);
      CHECK(served.status(fmt::format("GET {}?token=wrong", path)) == 403);
      CHECK(served.status(fmt::format("GET {}?{}", path, token)) == 200);
    }
    CHECK(served.status("GET /page.js") == 200);
  }

  TEST_CASE("whoever asks learns whether a side may be noted: with the right token only") {
    Served served;
    const auto may_mark = [&](const std::string& query) {
      return nlohmann::json::parse(body_of(served.ask("GET /state.json" + query)))["may_mark"]
          .get<bool>();
    };
    CHECK(may_mark("?token=" + served.page.token()));
    CHECK_FALSE(may_mark("?token=" + served.page.token().substr(1)));
    CHECK_FALSE(may_mark(""));
  }

  TEST_CASE("each page has a token of its own") {
    CHECK(Served().page.token() != Served().page.token());
  }

  TEST_CASE("what it cannot do is not there") {
    const LivePage page({.port = 0},
                        {.title = "aim",
                         .cautions = "",
                         .state = [] { return PageState{}; },
                         .picture = [] { return std::string(); }});
    const auto status = [&](const std::string& first) {
      return status_of(said_to(
          page.port(),
          first + " HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(page.port()) + "\r\n\r\n"));
    };
    CHECK(status("GET /track.json") == 404);
    CHECK(status("POST /mark?side=plus&token=" + page.token()) == 405);
    CHECK(status("GET /mark") == 404);
    CHECK(status("GET /picture.jpg") == 404);  // none yet
    CHECK(status("GET /") == 200);
  }
}
