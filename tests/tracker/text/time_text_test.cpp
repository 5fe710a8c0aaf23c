#include "tracker/text/time_text.h"

#include <doctest/doctest.h>

#include "tests/support/near.h"

using namespace nightswing::tracker;
using nightswing::test::within_abs;

TEST_SUITE("time_text") {
  TEST_CASE("durations are read in falling units") {
    const std::pair<const char*, double> cases[] = {{"90s", 90.0},
                                                    {"2h30m", 9000.0},
                                                    {"2h5m", 7500.0},
                                                    {"1.5h", 5400.0},
                                                    {"250ms", 0.25},
                                                    {"1d2h3min4s", 93784.0},
                                                    {"0s", 0.0}};
    for (const auto& written : cases) {
      CAPTURE(written.first);
      const auto read = parse_duration_s(written.first);
      REQUIRE(read);
      CHECK(*read == within_abs(written.second, 1e-9));  // rounding of the sum
    }
  }

  TEST_CASE("what is no duration is refused") {
    for (const char* text :
         {"", "5", "s", "5q", "-5s", "5s2h", "5s5s", "5 s", "1e3s", "nans", "99999999999d"}) {
      CAPTURE(text);
      CHECK_FALSE(parse_duration_s(text));
    }
  }

  TEST_CASE("ISO 8601 times are read with and without offset and decimals") {
    const auto expected = parse_iso_time("2026-03-14T21:30:00Z");
    REQUIRE(expected);
    // 2026-03-14T21:30:00Z is 1773523800 s after 1970 (GNU date)
    CHECK(expected->time_since_epoch().count() == 1773523800LL * 1000000LL);
    for (const char* text : {"2026-03-14T22:30:00+01:00",
                             "2026-03-14 21:30",
                             "2026-03-14T21:30:00.000Z",
                             "2026-03-14T16:00:00-0530"}) {
      CAPTURE(text);
      const auto read = parse_iso_time(text);
      REQUIRE(read);
      CHECK(*read == *expected);
    }
    CHECK(iso_text(*parse_iso_time("2026-12-31T23:59:59.9996Z")) == "2027-01-01T00:00:00.000Z");
    CHECK(iso_text(after(*expected, 7500.25)) == "2026-03-14T23:35:00.250Z");
    CHECK(seconds_between(*expected, after(*expected, 7500.25)) == within_abs(7500.25, 1e-6));
  }

  TEST_CASE("dates that do not exist are refused") {
    for (const char* text : {"2026-02-29T00:00:00Z",
                             "2026-13-01T00:00:00Z",
                             "2026-03-14",
                             "2026-03-14T24:00:00Z",
                             "2026-03-14T21:60:00Z",
                             "2026-03-14T21:30:00X",
                             "tonight"}) {
      CAPTURE(text);
      CHECK_FALSE(parse_iso_time(text));
    }
  }

  TEST_CASE("durations for people round to what matters") {
    CHECK(duration_text(4.04) == "4.0 s");
    CHECK(duration_text(90.4) == "1 min 30 s");
    CHECK(duration_text(7500.0) == "2 h 05 min");
    CHECK(duration_text(14995.0) == "4 h 10 min");
    CHECK(wait_text(2341.0) == "40 min");
    CHECK(wait_text(3601.0) == "1 h 01 min");
  }
}
