#include "tracker/run/blind_file.h"

#include <fstream>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/temporary_folder.h"

using namespace nightswing;
using namespace nightswing::tracker;
using nightswing::test::TemporaryFolder;

TEST_SUITE("blind_file") {
  TEST_CASE("a run stays blind with one factor until it is opened") {
    const TemporaryFolder folder;
    const RunFolder run{folder / "."};
    CHECK_FALSE(read_blind_factor(run));
    make_blind(run);
    const auto factor = read_blind_factor(run);
    REQUIRE(factor);
    CHECK(*factor >= 0.9);
    CHECK(*factor <= 1.1);
    make_blind(run);
    CHECK(read_blind_factor(run) == factor);
    open_blind(run);
    CHECK_FALSE(read_blind_factor(run));
  }
  TEST_CASE("a factor that was not drawn here is refused") {
    const TemporaryFolder folder;
    std::ofstream(folder / "blind.yaml") << "hidden_factor: 7\n";
    CHECK_THROWS_AS(static_cast<void>(read_blind_factor(RunFolder{folder / "."})), InputError);
  }
}
