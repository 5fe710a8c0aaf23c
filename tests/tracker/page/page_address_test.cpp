#include "tracker/page/page_address.h"

#include <set>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"

using namespace nightswing::tracker;
using nightswing::InputError;

TEST_SUITE("page address") {
  TEST_CASE("a port, an address with a port, and nothing at all are understood") {
    CHECK(parse_page_address("", false) == PageAddress{"127.0.0.1", 8080, false});
    CHECK(parse_page_address("9000", false) == PageAddress{"127.0.0.1", 9000, false});
    CHECK(parse_page_address("0", false).port == 0);
    CHECK(parse_page_address("127.0.0.1:80", false) == PageAddress{"127.0.0.1", 80, false});
    CHECK(parse_page_address("127.8.9.1:80", false) == PageAddress{"127.8.9.1", 80, false});
    CHECK(parse_page_address("localhost:81", false) == PageAddress{"127.0.0.1", 81, false});
    CHECK(parse_page_address("[::1]:82", false) == PageAddress{"::1", 82, false});
    CHECK(parse_page_address("0.0.0.0:8080", true) == PageAddress{"0.0.0.0", 8080, true});
    CHECK(parse_page_address("[::]:8080", true) == PageAddress{"::", 8080, true});
  }

  TEST_CASE("what is no address is refused, and the text says what one is") {
    for (const char* text : {"x",
                             "80x",
                             "-1",
                             "65536",
                             "99999999999",
                             ":8080",
                             "127.0.0.1:",
                             "127.0.0.1",
                             "127.1:80",
                             "::1",
                             "::1:80",
                             "[::1]",
                             "[127.0.0.1:80",
                             "example.org:80",
                             "127.0.0.1:80 "}) {
      CAPTURE(text);
      CHECK_THROWS_WITH_AS(
          static_cast<void>(parse_page_address(text, true)), doctest::Contains("8080"), InputError);
    }
  }

  TEST_CASE("an address that others can reach must be wanted expressly") {
    for (const char* text :
         {"0.0.0.0:8080", "192.168.1.5:80", "[::]:80", "[fe80::1]:80", "1.2.7.0:80"}) {
      CAPTURE(text);
      CHECK_THROWS_WITH_AS(static_cast<void>(parse_page_address(text, false)),
                           doctest::Contains("--page-open"),
                           InputError);
      CHECK(parse_page_address(text, true).is_open);
    }
    CHECK_FALSE(parse_page_address("127.0.0.1:80", true).is_open);
  }

  TEST_CASE("tokens have 128 bits and do not repeat") {
    std::set<std::string> tokens;
    for (int k = 0; k < 100; ++k) {
      const std::string token = random_token();
      CHECK(token.size() == 32);
      CHECK(token.find_first_not_of("0123456789abcdef") == std::string::npos);
      tokens.insert(token);
    }
    CHECK(tokens.size() == 100);
  }

  TEST_CASE("a secret is the same only as a whole") {
    CHECK(is_same_secret("abc", "abc"));
    CHECK_FALSE(is_same_secret("abc", "abd"));
    CHECK_FALSE(is_same_secret("abc", "bbc"));
    CHECK_FALSE(is_same_secret("abc", "ab"));
    CHECK_FALSE(is_same_secret("abc", "abcd"));
    CHECK_FALSE(is_same_secret("", "a"));
  }

  TEST_CASE("only names of this computer are its own") {
    const PageAddress closed{"127.0.0.1", 8080, false};
    for (const char* host : {"127.0.0.1:8080", "localhost:8080", "LOCALHOST:8080", "[::1]:8080"}) {
      CAPTURE(host);
      CHECK(is_own_host(closed, 8080, host));
    }
    for (const char* host : {"",
                             "127.0.0.1",
                             "127.0.0.1:8081",
                             "evil.example:8080",
                             "127.0.0.1.evil.example:8080",
                             "localhost.evil.example:8080",
                             "192.168.1.5:8080",
                             "localhost:8080.evil.example"}) {
      CAPTURE(host);
      CHECK_FALSE(is_own_host(closed, 8080, host));
    }
    CHECK(is_own_host(closed, 80, "localhost"));  // browsers leave this port out
  }

  TEST_CASE("an open page has any address, but no foreign name") {
    const PageAddress open{"0.0.0.0", 8080, true};
    CHECK(is_own_host(open, 8080, "192.168.1.5:8080"));
    CHECK(is_own_host(open, 8080, "[fe80::1]:8080"));
    CHECK_FALSE(is_own_host(open, 8080, "evil.example:8080"));
  }

  TEST_CASE("the page's address is printed as a browser takes it") {
    CHECK(page_urls({"127.0.0.1", 0, false}, 8080, "abc") ==
          std::vector<std::string>{"http://127.0.0.1:8080/?token=abc"});
    CHECK(page_urls({"::1", 0, false}, 81, "abc") ==
          std::vector<std::string>{"http://[::1]:81/?token=abc"});
    for (const std::string& url : page_urls({"0.0.0.0", 0, true}, 82, "abc")) {
      CHECK(url.find("0.0.0.0") == std::string::npos);
      CHECK(url.ends_with(":82/?token=abc"));
    }
  }
}
