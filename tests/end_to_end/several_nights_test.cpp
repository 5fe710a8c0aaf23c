// Several runs in one `analyse`: each as if alone, then all together.
#include <cmath>
#include <filesystem>
#include <string>

#include <doctest/doctest.h>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/line_file.h"

using namespace nightswing::test;
using nightswing::tracker::read_whole_file;

namespace {

void make_marked_run(const std::string& run) {
  make_synthetic_run(run);
  write_text(run + "/apparatus.yaml", good_apparatus());
  REQUIRE(nightswing_command("mark " + run + " plus --at 0s").status == 0);
  REQUIRE(nightswing_command("mark " + run + " minus --at 2h").status == 0);
}

}  // namespace

TEST_SUITE("several nights") {
  TEST_CASE("each is analysed as if alone, and together they give one G") {
    const TemporaryFolder folder;
    const std::string one = (folder / "runs/one").string();
    const std::string two = (folder / "runs/two").string();
    std::filesystem::create_directories(folder / "runs/empty");
    make_marked_run(one);
    make_marked_run(two);
    const std::string all = (folder / "runs").string() + "/*";
    const auto together = nightswing_command("analyse " + all);
    REQUIRE_MESSAGE(together.status == 0, together.errors);
    CHECK(together.output.find("no G: " + (folder / "runs/empty").string() + " is no run folder") !=
          std::string::npos);
    const auto json = read_json(folder / "runs/together/nights.json");
    const auto alone = read_json(one + "/result.json")["G"];
    REQUIRE(json["nights"].size() == 3);
    CHECK(json["nights"][1]["G"]["value"] == alone["value"]);
    // The same night twice shares everything: the mean is as uncertain as one of them.
    CHECK(json["G"]["value"].get<double>() == within_rel(alone["value"].get<double>(), 1e-12));
    CHECK(json["G"]["u"].get<double>() == within_rel(alone["u"].get<double>(), 1e-3));
    for (const char* file : {"nights.txt", "nights.html", "plots/comparison.svg"}) {
      CHECK(std::filesystem::file_size(folder / "runs/together" / file) > 100);
    }
    // Again: the comparison itself is no night.
    REQUIRE(nightswing_command("analyse --quiet " + all).status == 0);
    CHECK(read_json(folder / "runs/together/nights.json")["nights"].size() == 3);
    const std::string comparison = (folder / "runs/together").string();
    const auto no_run = nightswing_command("analyse " + comparison + " " + comparison);
    CHECK(no_run.status == 1);
    CHECK(no_run.errors.find("and no run; name the run folders") != std::string::npos);
  }

  TEST_CASE("a name that is none is refused, and fewer than two G are no success") {
    const TemporaryFolder folder;
    const std::string one = (folder / "one").string();
    make_marked_run(one);
    const std::string none = (folder / "none").string();
    const auto mistyped = nightswing_command("analyse " + one + " " + none);
    CHECK(mistyped.status == 1);
    CHECK(mistyped.errors.find("there is no " + none) != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(folder / "together"));
    std::filesystem::create_directories(none);
    const auto too_few = nightswing_command("analyse --quiet " + one + " " + none);
    CHECK(too_few.status == 1);
    CHECK(too_few.errors.find("not analysed: " + none) != std::string::npos);
    CHECK(too_few.errors.find("fewer than two of them give one") != std::string::npos);
    CHECK(read_whole_file(folder / "together/nights.txt").find(", )") == std::string::npos);
    // One alone, beside a comparison of earlier, is analysed as one.
    std::filesystem::remove(none);
    const auto alone = nightswing_command("analyse " + one + " " + (folder / "together").string());
    CHECK(alone.status == 0);
    CHECK(alone.output.find("written: " + one + "/report.html") != std::string::npos);
  }

  TEST_CASE("the same night is not counted twice, whatever its path is written like") {
    const TemporaryFolder folder;
    const std::string one = (folder / "one").string();
    make_marked_run(one);
    std::filesystem::create_directory_symlink(one, folder / "link");
    for (const std::string& again : {one, one + "/", (folder / "link").string()}) {
      const auto refused = nightswing_command("analyse " + one + " " + again);
      CHECK(refused.status == 1);
      CHECK(refused.errors.find("are the same run folder") != std::string::npos);
    }
    CHECK_FALSE(std::filesystem::exists(one + "/result.json"));
  }

  TEST_CASE("a blind night is not combined with others, and sides are those of one night") {
    const TemporaryFolder folder;
    const std::string one = (folder / "one").string();
    const std::string two = (folder / "two").string();
    make_marked_run(one);
    make_marked_run(two);
    write_text(two + "/blind.yaml", "hidden_factor: 1.07\n");
    const auto blind = nightswing_command("analyse " + one + " " + two);
    CHECK(blind.status == 1);
    CHECK(blind.errors.find(two + ": a blind night cannot be combined") != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(one + "/result.json"));
    const auto sides = nightswing_command("analyse " + one + " " + two + " --side plus@0s");
    CHECK(sides.status == 2);
    CHECK(sides.errors.find("--side belongs to one night") != std::string::npos);
  }

  TEST_CASE("an analysis that fails leaves the apparatus of the earlier results beside them") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    make_marked_run(run);
    REQUIRE(nightswing_command("analyse --quiet " + run).status == 0);
    write_text(folder / "other.yaml", "# another one\n" + good_apparatus());
    const auto failed = nightswing_command("analyse " + run + " --side plus@0s --apparatus " +
                                           (folder / "other.yaml").string());
    CHECK(failed.status == 1);
    CHECK(read_whole_file(run + "/apparatus.yaml") == good_apparatus());
  }
}
