#include "tracker/run/side_mark.h"

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/made_up_run_info.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/event_log.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::analysis::Side;

namespace {

struct Night {
  TemporaryFolder folder;
  RunFolder run = create_run_folder(folder / "run");

  explicit Night(std::optional<UtcTime> start) {
    write_run_info(run, made_up_run_info(320, 240, start));
  }
  [[nodiscard]] std::vector<nightswing::analysis::SideChange> changes() const {
    EventLog log = read_events(run.events());
    return side_changes_in(log);
  }
};

}  // namespace

TEST_SUITE("side mark") {
  TEST_CASE("a note stands in the log with the moment of the night and the wall clock's") {
    const Night night(parse_iso_time("2026-03-14T21:30:00Z"));
    note_side(night.run, Side::kPlus, 90.0);
    REQUIRE(night.changes().size() == 1);
    CHECK(night.changes()[0].side == Side::kPlus);
    CHECK(night.changes()[0].t_s == within_abs(90.0, 1e-9));
    CHECK(read_events(night.run.events()).events[0].utc == parse_iso_time("2026-03-14T21:31:30Z"));
  }

  TEST_CASE("where the start is not known the wall clock's is left out") {
    const Night night(std::nullopt);
    note_side(night.run, Side::kMinus, 90.0);
    CHECK_FALSE(read_events(night.run.events()).events[0].utc);
  }

  TEST_CASE("a note is taken back, one that does not stand cannot be") {
    const Night night(std::nullopt);
    note_side(night.run, Side::kPlus, 90.0);
    CHECK_THROWS_WITH_AS(withdraw_side(night.run, Side::kMinus, 90.0),
                         doctest::Contains("it holds plus at 90 s"),
                         nightswing::InputError);
    CHECK_THROWS_AS(withdraw_side(night.run, Side::kPlus, 91.0), nightswing::InputError);
    withdraw_side(night.run, Side::kPlus, 90.0004);  // the log holds milliseconds
    CHECK(night.changes().empty());
    CHECK_THROWS_AS(withdraw_side(night.run, Side::kPlus, 90.0), nightswing::InputError);
  }
}
