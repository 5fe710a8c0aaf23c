#include "tracker/page/page_exchange.h"

#include <stdexcept>

#include <doctest/doctest.h>

#include "tests/support/raw_connection.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

PageRequest got;  // the last one

PageExchange noting() {
  return PageExchange([](const PageRequest& request) {
    got = request;
    got.parameter = nullptr;
    return PageResponse{.body = request.parameter("a")};
  });
}

}  // namespace

TEST_SUITE("page exchange") {
  TEST_CASE("a request is understood") {
    PageExchange exchange = noting();
    const std::string response = exchange.response_to(
        "GET /x%20y?a=1%262 HTTP/1.1\r\nHost: h:1\r\nOrigin: http://h:1\r\n"
        "sec-fetch-site: same-origin\r\n\r\n");
    CHECK(status_of(response) == 200);
    CHECK(body_of(response) == "1&2");
    CHECK(got.method == "GET");
    CHECK(got.path == "/x y");
    CHECK(got.host == "h:1");
    CHECK(got.origin == "http://h:1");
    CHECK(got.fetch_site == "same-origin");
  }

  TEST_CASE("of the headers only the known ones come through") {
    CHECK(known_headers("GET / HTTP/1.1\r\nHOST: a\r\nRange: bytes=0-1,0-1\r\nHost : b\r\n"
                        "Transfer-Encoding: chunked\r\nCookie: x\r\nContent-Length: 0\r\n\r\n") ==
          "GET / HTTP/1.1\r\nHOST: a\r\nContent-Length: 0\r\n\r\n");
  }

  TEST_CASE("ranges and codings change nothing") {
    PageExchange exchange = noting();
    const std::string response = exchange.response_to(
        "GET /?a=abcdef HTTP/1.1\r\nHost: h\r\nRange: bytes=0-1,2-3\r\n"
        "Accept-Encoding: gzip, br\r\nExpect: 100-continue\r\n\r\n");
    CHECK(status_of(response) == 200);
    CHECK(body_of(response) == "abcdef");
  }

  TEST_CASE("a request without a Host, with two, or with a body is refused") {
    PageExchange exchange = noting();
    CHECK(status_of(exchange.response_to("GET / HTTP/1.1\r\n\r\n")) == 400);
    CHECK(status_of(exchange.response_to("GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n")) == 400);
    CHECK(status_of(exchange.response_to(
              "POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\n\r\n")) == 413);
    CHECK(status_of(exchange.response_to(
              "POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 0\r\n\r\n")) == 200);
    CHECK(status_of(exchange.response_to("POST / HTTP/1.1\r\nHost: a\r\n\r\n")) == 200);
  }

  TEST_CASE("what is no HTTP is a bad request, not a crash") {
    PageExchange exchange = noting();
    for (const char* head : {"\r\n\r\n",
                             "GET\r\n\r\n",
                             "GET / HTTP/9.9\r\n\r\n",
                             "BREW / HTTP/1.1\r\nHost: a\r\n\r\n",
                             "GET / / HTTP/1.1\r\nHost: a\r\n\r\n",
                             "\x16\x03\x01\x02\r\n\r\n"}) {
      CAPTURE(head);
      CHECK(status_of(exchange.response_to(head)) == 400);
    }
  }

  TEST_CASE("what the page throws is an answer") {
    PageExchange exchange(
        [](const PageRequest&) -> PageResponse { throw std::runtime_error("the disk is full"); });
    const std::string response = exchange.response_to("GET / HTTP/1.1\r\nHost: a\r\n\r\n");
    CHECK(status_of(response) == 500);
    CHECK(body_of(response) == "the disk is full\n");
  }

  TEST_CASE("every response, also a refusal, lets nothing in from elsewhere and nothing be kept") {
    PageExchange exchange = noting();
    for (const char* head : {"GET / HTTP/1.1\r\nHost: a\r\n\r\n", "GET / HTTP/1.1\r\n\r\n"}) {
      const std::string response = exchange.response_to(head);
      for (const char* header : {"Content-Security-Policy: default-src 'none'",
                                 "X-Content-Type-Options: nosniff",
                                 "Cache-Control: no-store",
                                 "Referrer-Policy: no-referrer",
                                 "Cross-Origin-Resource-Policy: same-origin",
                                 "Connection: close"}) {
        CAPTURE(header);
        CHECK(response.find(header) != std::string::npos);
      }
      CHECK(response.find("Access-Control") == std::string::npos);
    }
  }
}
