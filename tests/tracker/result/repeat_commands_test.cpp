#include <doctest/doctest.h>

#include "tests/analysis/balance/reference_balance.h"
#include "tests/support/command.h"
#include "tests/support/made_up_run_info.h"
#include "tests/support/temporary_folder.h"
#include "tracker/result/repeat_commands.h"
#include "tracker/run/event_log.h"
#include "tracker/text/pace_text.h"
#include "tracker/text/shell_word.h"

using namespace nightswing;
using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

class RepeatedRun {
 public:
  RepeatedRun() : run_{create_run_folder(folder_ / "a night")} {
    night_.info = made_up_run_info(640, 480);
    night_.info.source = "night.mp4";
  }

  RunInfo& info() { return night_.info; }
  std::vector<analysis::SideChange>& sides() { return night_.night.sides; }
  [[nodiscard]] const RunFolder& run() const { return run_; }
  void log(const std::string& event, const std::string& detail) {
    EventWriter(run_.events()).append({{}, {}, event, detail});
  }
  [[nodiscard]] std::vector<std::string> commands(const std::string& options = "") const {
    return repeat_commands({run_, night_, apparatus_, result_}, options);
  }

 private:
  TemporaryFolder folder_;
  RunFolder run_;
  NightOfRun night_{};
  analysis::Apparatus apparatus_ = reference_balance();
  analysis::NightResult result_{};
};

}  // namespace

TEST_SUITE("repeat commands") {
  TEST_CASE("a word comes back from the shell as it was") {
    CHECK(shell_word("runs/night") == "runs/night");
    for (const std::string word : {"", "a b", "it's", "$HOME", "199.4(2) mm", "\"a\" \\ `b`"}) {
      const auto echoed = run_command("printf %s " + shell_word(word));
      CHECK(echoed.output == word);
    }
  }

  TEST_CASE("what was said of times and scale when the run was made is said again") {
    RepeatedRun night;
    night.info().time_from = time_from_whole(3000, 14995.0) + averages_text(10.0);
    night.info().start = parse_iso_time("2026-03-14T21:30:00Z");
    night.info().start_from = kStartFromOption;
    night.log("calibrated", calibrated_text("plane map", "replay --bar '199.4(2) mm'"));
    const std::string again = shell_word(night.run().path.string() + "-again");
    CHECK(night.commands().front() ==
          "nightswing replay night.mp4 --start 2026-03-14T21:30:00.000Z --end "
          "2026-03-15T01:39:55.000Z --average 10s --bar '199.4(2) mm' --run " +
              again);
  }

  TEST_CASE("a mark from before the first frame is said as a moment of the clock") {
    RepeatedRun night;
    night.info().start = parse_iso_time("2026-03-14T21:30:00Z");
    night.sides() = {{analysis::Side::kPlus, -90.0}, {analysis::Side::kMinus, 7500.0}};
    const std::string again = shell_word(night.run().path.string() + "-again");
    REQUIRE(night.commands().size() == 4);
    CHECK(night.commands()[1] ==
          "nightswing mark " + again + " plus --at 2026-03-14T21:28:30.000Z");
    CHECK(night.commands()[2] == "nightswing mark " + again + " minus --at 7500s");
  }

  TEST_CASE("the last calibration by hand counts, whatever a resumed run says after it") {
    RepeatedRun night;
    night.log("calibrated", calibrated_text("line map", "calibrate --point 1,2=3mm"));
    night.log("calibrated", calibrated_text("line map", "calibrate --point 4,5=6mm"));
    night.log("calibrated", calibrated_text("plane map", ""));
    const std::string again = shell_word(night.run().path.string() + "-again");
    REQUIRE(night.commands().size() == 3);
    CHECK(night.commands()[1] == "nightswing calibrate " + again + " --point 4,5=6mm");
  }

  TEST_CASE("what a stream sent is gone: the commands begin with the track and say so") {
    RepeatedRun night;
    night.info().source = "http://192.0.2.1/video";
    const auto commands = night.commands(" --settle 60s");
    REQUIRE(commands.size() == 2);
    CHECK(commands[0] ==
          "# the pictures are gone: this begins with " + night.run().track().string());
    CHECK(commands[1] == "nightswing analyse " + shell_word(night.run().path.string()) +
                             " --apparatus " + shell_word(night.run().apparatus().string()) +
                             " --settle 60s");
  }
}
