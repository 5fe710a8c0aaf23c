#include "tracker/commands/plan_text.h"

#include <regex>
#include <string>

#include <doctest/doctest.h>

#include "analysis/apparatus/apparatus_file.h"
#include "tracker/commands/commands.h"
#include "tracker/run/line_file.h"

using namespace nightswing;

namespace {

const std::string kConfigs = std::string(NIGHTSWING_SOURCE_DIR) + "/configs/";

std::string plan_of(const std::string& name) {
  return tracker::plan_text(analysis::read_apparatus_file(kConfigs + name), {}, 0.01);
}

}  // namespace

TEST_SUITE("plan text") {
  TEST_CASE("a watch of less than two hours is told in minutes, and never less than is needed") {
    // Bricks with a period of 8 min: a period and a minute of settling on each side are 18 min.
    const std::string text = plan_of("lead_bricks.yaml");
    const std::regex row("watch for 1 %       (\\d+) min\n");
    std::smatch found;
    REQUIRE_MESSAGE(std::regex_search(text, found, row), text);
    const int least_min = 18;
    CHECK(std::stoi(found[1]) >= least_min);
    CHECK(std::stoi(found[1]) < 30);
    const std::regex at_any_wall("mm   (\\d+) min\n");
    std::size_t rows = 0;
    for (std::sregex_iterator it(text.begin(), text.end(), at_any_wall), end; it != end; ++it) {
      CHECK(std::stoi((*it)[1]) >= least_min);
      ++rows;
    }
    CHECK(rows > 0);
  }

  TEST_CASE("a plan ends with the cautions, before anything is lifted or hung") {
    CHECK(plan_of("basement.yaml").ends_with(std::string(tracker::kCautions) + "\n"));
  }

  TEST_CASE("what the household example says of its uncertainty is what its plan says") {
    const std::string file = std::regex_replace(
        tracker::read_whole_file(kConfigs + "household_masses.yaml"), std::regex("\n# "), " ");
    std::smatch said;
    std::smatch planned;
    const std::string text = plan_of("household_masses.yaml");
    REQUIRE(std::regex_search(
        file,
        said,
        std::regex("says (\\S+) percent by masses and lengths, and (\\S+) percent with an hour")));
    REQUIRE(std::regex_search(
        text,
        planned,
        std::regex("(\\S+) % by masses and lengths, (\\S+) % with an hour of watching")));
    CHECK(said[1] == planned[1]);
    CHECK(said[2] == planned[2]);
  }
}
