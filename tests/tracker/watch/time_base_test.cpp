#include "tracker/watch/time_base.h"

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/fake_clock.h"
#include "tests/support/near.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

constexpr double kWritten_s = 1e-3;  // files keep the wall clock to the millisecond

/// A run that began with the fake clock's first moment and whose last line is from t_s = 600.
EarlierRun ten_minutes(const FakeClock& clock) {
  EarlierRun earlier;
  earlier.info.start = clock.utc();
  earlier.watch.boot = clock.boot();
  earlier.watch.steady_at_start_s = clock.steady_s();
  earlier.last_t_s = 600.0;
  earlier.last_utc = after(clock.utc(), 600.0);
  return earlier;
}

}  // namespace

TEST_SUITE("time_base") {
  TEST_CASE("a new run begins at its first picture, by both clocks") {
    FakeClock clock;
    const UtcTime at_picture = clock.utc();
    const double picture_s = clock.steady_s();
    clock.now_s = clock.now_s + 2.5;  // the picture waited so long to be looked at
    const TimeBase base = new_time_base(picture_s, clock);
    CHECK(base.steady_at_start_s == picture_s);
    CHECK(seconds_between(at_picture, base.start) == within_abs(0.0, kWritten_s));
    CHECK(base.resumed.empty());
  }

  TEST_CASE("while the computer runs, the steady clock carries the run over a gap") {
    FakeClock clock;
    const EarlierRun earlier = ten_minutes(clock);
    clock.now_s = clock.now_s + 700.0;
    clock.wall_ahead_s = 3600.0;  // a step of the wall clock says nothing
    const TimeBase base = resumed_time_base(earlier, clock.steady_s(), clock);
    CHECK(clock.steady_s() - base.steady_at_start_s == within_abs(700.0, 1e-9));
    CHECK(base.start == *earlier.info.start);
    CHECK(base.resumed.find("1 min 40 s") != std::string::npos);
  }

  TEST_CASE("over a restart of the computer the wall clock carries it") {
    FakeClock clock;
    const EarlierRun earlier = ten_minutes(clock);
    clock.boot_word = "second";
    clock.wall_ahead_s = clock.now_s - 20.0 + 900.0;  // 15 minutes after the start, by the wall
    clock.now_s = 20.0;
    const TimeBase base = resumed_time_base(earlier, 18.0, clock);  // a picture two seconds old
    CHECK(18.0 - base.steady_at_start_s == within_abs(898.0, kWritten_s));
    CHECK(base.resumed.find("had been restarted") != std::string::npos);
  }

  TEST_CASE("a wall clock that is behind the last line is named with both times") {
    FakeClock clock;
    const EarlierRun earlier = ten_minutes(clock);
    clock.boot_word = "second";
    try {
      static_cast<void>(resumed_time_base(earlier, clock.steady_s(), clock));
      FAIL("no gap can be told, but a time was made up");
    } catch (const nightswing::InputError& error) {
      const std::string text = error.what();
      CHECK(text.find("2026-03-14T21:30:00") != std::string::npos);
      CHECK(text.find("2026-03-14T21:40:00") != std::string::npos);
    }
  }
}
