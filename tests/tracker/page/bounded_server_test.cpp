#include "tracker/page/bounded_server.h"

#include <chrono>
#include <filesystem>
#include <vector>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/raw_connection.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;

namespace {

const PageAddress kAnyPort{.port = 0};
constexpr const char* kRequest = "GET / HTTP/1.1\r\nHost: a\r\n\r\n";

PageResponse hello(const PageRequest&) {
  return {.body = "hello"};
}

std::size_t open_descriptors() {
  const std::filesystem::directory_iterator all("/proc/self/fd");
  return static_cast<std::size_t>(std::distance(begin(all), end(all)));
}

}  // namespace

TEST_SUITE("bounded server") {
  TEST_CASE("a request is answered and the connection closed") {
    BoundedServer server(kAnyPort);
    server.serve(hello);
    const std::string response = said_to(server.port(), kRequest);
    CHECK(status_of(response) == 200);
    CHECK(body_of(response) == "hello");
  }

  TEST_CASE("a request may come in pieces") {
    BoundedServer server(kAnyPort);
    server.serve(hello);
    RawConnection connection(server.port());
    for (const char c : std::string(kRequest)) REQUIRE(connection.send({&c, 1}));
    CHECK(body_of(connection.read_all()) == "hello");
  }

  TEST_CASE("a large response arrives whole") {
    // NOLINTNEXTLINE(bugprone-string-constructor): it is meant to be large
    const std::string large(20'000'000, 'x');  // more than any socket keeps
    BoundedServer server(kAnyPort);
    server.serve([&](const PageRequest&) { return PageResponse{.body = large}; });
    CHECK(body_of(said_to(server.port(), kRequest)) == large);
  }

  TEST_CASE("a head without end is refused at its limit") {
    BoundedServer server(kAnyPort, {.head_bytes = 1000});
    server.serve(hello);
    const std::string start = "GET / HTTP/1.1\r\nHost: a\r\nX: ";
    SUBCASE("one long header") {
      CHECK(status_of(said_to(server.port(), start + std::string(100'000, 'x'))) == 431);
    }
    SUBCASE("many headers") {
      std::string many = start;
      for (int k = 0; k < 10'000; ++k) many += "\r\nX: y";
      CHECK(status_of(said_to(server.port(), many + "\r\n\r\n")) == 431);
    }
    SUBCASE("a long address") {
      CHECK(status_of(said_to(server.port(),
                              "GET /" + std::string(2000, 'a') + " HTTP/1.1\r\n\r\n")) == 431);
    }
    SUBCASE("just below it") {
      const std::string head =
          start + std::string(1000 - start.size(), 'x') + "\r\n\r\n";  // the end does not count
      CHECK(status_of(said_to(server.port(), head)) == 200);
    }
  }

  TEST_CASE("200 connections that say one byte and wait keep nobody from the page") {
    BoundedServer server(kAnyPort);
    server.serve(hello);
    std::vector<RawConnection> slow;
    for (int k = 0; k < 200; ++k) {
      slow.emplace_back(server.port());
      slow.back().send("G");
    }
    const auto begin = std::chrono::steady_clock::now();
    for (int k = 0; k < 20; ++k) CHECK(body_of(said_to(server.port(), kRequest)) == "hello");
    // It waits for none of them: they have 5 s each. Half of that is for a loaded machine.
    CHECK(std::chrono::steady_clock::now() - begin < std::chrono::milliseconds(2500));
  }

  TEST_CASE("no more connections are held than allowed") {
    BoundedServer server(kAnyPort, {.connections = 8});
    server.serve(hello);
    CHECK(body_of(said_to(server.port(), kRequest)) == "hello");
    const std::size_t before = open_descriptors();
    std::vector<RawConnection> slow;
    for (int k = 0; k < 100; ++k) {
      slow.emplace_back(server.port());
      slow.back().send("G");
    }
    CHECK(body_of(said_to(server.port(), kRequest)) == "hello");  // all before it were accepted
    CHECK(open_descriptors() <= before + 100 + 8);
    CHECK(slow.front().read_all().empty());  // the oldest has been closed
  }

  TEST_CASE("whoever does not end the head is closed when its time is over") {
    BoundedServer server(kAnyPort, {.request_patience = std::chrono::milliseconds(50)});
    server.serve(hello);
    const auto begin = std::chrono::steady_clock::now();
    RawConnection slow(server.port());
    slow.send("GET / HTTP/1.1\r\n");
    CHECK(slow.read_all().empty());
    // Within half of the time that this side would have waited.
    CHECK(std::chrono::steady_clock::now() - begin < std::chrono::seconds(15));
  }

  TEST_CASE("whoever does not take the response is closed, and keeps nobody waiting") {
    // NOLINTNEXTLINE(bugprone-string-constructor): it is meant to be large
    const std::string large(20'000'000, 'x');  // more than sockets keep
    const std::chrono::milliseconds patience(100);
    BoundedServer server(kAnyPort, {.response_patience = patience});
    server.serve([&](const PageRequest& request) {
      return PageResponse{.body = request.path == "/" ? "hello" : large};
    });
    RawConnection slow(server.port());
    slow.send("GET /large HTTP/1.1\r\nHost: a\r\n\r\n");
    CHECK(body_of(said_to(server.port(), kRequest)) == "hello");  // after it: its time runs
    const auto begin = std::chrono::steady_clock::now();
    while (std::chrono::steady_clock::now() - begin <= patience) {
      CHECK(body_of(said_to(server.port(), kRequest)) == "hello");
    }
    // One more turn of the server's loop, which begins after that time.
    CHECK(body_of(said_to(server.port(), kRequest)) == "hello");
    CHECK(slow.read_all().size() < large.size());
  }

  TEST_CASE("a port that is taken is told, with what to do") {
    const BoundedServer first(kAnyPort);
    CHECK_THROWS_WITH_AS(BoundedServer({.port = first.port()}),
                         doctest::Contains("give --page another port"),
                         InputError);
    CHECK_THROWS_WITH_AS(
        BoundedServer({.host = "192.0.2.1", .port = 0, .is_open = true}),  // RFC 5737
        doctest::Contains("192.0.2.1 port 0 (this computer has no such address); give --page one "),
        InputError);
  }

  TEST_CASE("a port is free again as soon as its page has ended") {
    int port = 0;
    {
      BoundedServer server(kAnyPort);
      server.serve(hello);
      port = server.port();
      CHECK(body_of(said_to(port, kRequest)) == "hello");
    }
    BoundedServer again({.port = port});
    again.serve(hello);
    CHECK(body_of(said_to(port, kRequest)) == "hello");
  }

  TEST_CASE("it ends at once, whoever is connected") {
    BoundedServer server(kAnyPort);
    server.serve(hello);
    RawConnection slow(server.port());
    slow.send("G");
    CHECK(body_of(said_to(server.port(), kRequest)) == "hello");
  }
}
