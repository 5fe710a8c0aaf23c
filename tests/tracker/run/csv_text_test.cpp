#include "tracker/run/csv_text.h"

#include <doctest/doctest.h>

using namespace nightswing::tracker;

TEST_SUITE("csv_text") {
  TEST_CASE("fields survive quoting, RFC 4180") {
    const std::string fields[] = {"plain", "with, comma", "with \"quotes\"", "", "ends\""};
    std::string line;
    for (const std::string& field : fields) {
      if (!line.empty()) line += ',';
      line += csv_field(field);
    }
    const auto read = split_csv(line);
    REQUIRE(read);
    REQUIRE(read->size() == 5);
    for (std::size_t k = 0; k < 5; ++k) CHECK((*read)[k] == fields[k]);
  }

  TEST_CASE("a line break inside a field becomes a blank, so that a record stays a line") {
    CHECK(csv_field("two\nlines") == "\"two lines\"");
  }

  TEST_CASE("an open quote is no line") {
    CHECK_FALSE(split_csv("a,\"b"));
  }

  TEST_CASE("numbers are short and lose no digit that is asked for") {
    CHECK(number_text(0.1) == "0.1");
    CHECK(number_text(1.0 / 3.0) == "0.3333333333333333");
    CHECK(number_text(412.50000, 5) == "412.5");
    CHECK(number_text(3.14159265, 4) == "3.1416");
    CHECK(number_text(-0.000001, 4) == "0");
    CHECK(number_text(7500.0, 3) == "7500");
  }
}
