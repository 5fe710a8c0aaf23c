// The kept inputs of the fuzzers, past crashes among them, read once more.
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include <doctest/doctest.h>

#include "tests/fuzz/readers.h"

TEST_SUITE("fuzz corpus") {
  TEST_CASE("every kept input is read, or refused with a sentence") {
    int inputs = 0;
    const std::filesystem::path corpus = std::string(NIGHTSWING_SOURCE_DIR) + "/tests/fuzz/corpus";
    for (const auto& kind : std::filesystem::directory_iterator(corpus)) {
      for (const auto& entry : std::filesystem::directory_iterator(kind.path())) {
        CAPTURE(entry.path().string());
        std::ifstream file(entry.path(), std::ios::binary);
        const std::string bytes(std::istreambuf_iterator<char>(file), {});
        CHECK_NOTHROW(nightswing::test::read_bytes_as(kind.path().filename().string(), bytes));
        ++inputs;
      }
    }
    CHECK(inputs >= 6);
  }
}
