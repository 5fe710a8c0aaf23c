// The watch with a camera and a clock of the test's own: what it writes, and what it makes of every
// fault of a night.
#include "tracker/watch/watch.h"

#include <algorithm>

#include <doctest/doctest.h>

#include "analysis/quantities/input_error.h"
#include "tests/support/near.h"
#include "tests/support/watched_night.h"
#include "tracker/frames/video_source.h"
#include "tracker/spot/spot_finder.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

TEST_SUITE("watch") {
  TEST_CASE("a night is written as it passes, one line for each time asked for") {
    WatchedNight night;
    night.request.every_s = 1.0;
    const WatchSummary summary = watched(night, 60);
    CHECK(summary.pictures == 60);
    CHECK(summary.pictures_by_state.measured() >= 50);  // it must first be known as the spot
    const Track track = night.track();
    CHECK(track.warnings.empty());
    // Two pictures in each second; the first of the sixty is at the second's beginning.
    CHECK(track.rows.size() == 30);
    for (std::size_t k = 0; k < track.rows.size(); ++k) {
      const TrackRow& row = track.rows[k];
      CHECK(row.t_s == within_abs(static_cast<double>(k) + 0.25, 0.251));
      REQUIRE(row.utc);
      // The wall clock is 21:30:00 at steady 1000 s, and the first picture came half a second later
      // (to the millisecond that is written).
      CHECK(seconds_between(*parse_iso_time("2026-03-14T21:30:00.5Z"), *row.utc) ==
            within_abs(row.t_s, 1e-3));
      if (!row.spot.position || k < 2) continue;
      // The spot moves by up to 4 px from picture to picture, so that a wrong time would show; the
      // stains of the wall draw it aside by some tenths.
      CHECK(row.spot.position->x_px ==
            within_abs(NightCamera::spot_px(row.t_s / kPictureEvery_s, kWatchedSize).x, 0.6));
      CHECK(row.spot.position->y_px == within_abs(0.5 * kWatchedSize.height, 0.6));
    }
    CHECK(night.details("started") == std::vector<std::string>{"test camera"});
    REQUIRE(night.details("ended").size() == 1);
    const std::string ended = night.details("ended")[0];
    CAPTURE(ended);
    CHECK(ended.starts_with("the test: 60 pictures ("));
    CHECK(ended.ends_with(" 0 dark)"));
    REQUIRE(night.details("camera").size() == 1);
    CHECK(night.details("camera")[0] == "test pictures; settings: exposure 20 ms; times: the test");
    CHECK(std::filesystem::exists(night.run().first_frame()));
    CHECK(read_run_info(night.run()).start);
  }

  TEST_CASE("it ends by itself after the time that was asked for") {
    WatchedNight night;
    night.request.for_s = 20.0;
    night.request.end = "--for 20s";
    Watcher watcher(night);
    watcher.watch(40);
    night.clock.now_s = night.clock.now_s + 1.0;
    CHECK(watcher.result().ended == "--for 20s");
    Watcher again(night);
    const WatchSummary over = again.result();
    CHECK(over.ended == "it was over already (--for 20s)");
    CHECK(over.was_over);
    CHECK(night.details("ended").size() == 1);
  }

  TEST_CASE("an end by the wall clock stays that of the first evening") {
    WatchedNight night;
    night.request.end = "--until 21:31";
    night.request.end_utc = parse_iso_time("2026-03-14T21:31:00Z");
    {
      Watcher watcher(night);
      watcher.watch(20);
      night.clock.now_s = night.clock.now_s + 51.0;
      CHECK(watcher.result().ended == "--until 21:31");
    }
    night.request.end_utc = parse_iso_time("2026-03-15T21:31:00Z");  // as read the next day
    Watcher again(night);
    CHECK(again.result().ended == "it was over already (--until 21:31)");
  }

  TEST_CASE("an end that is past already is refused before a camera is asked") {
    WatchedNight night;
    night.camera.unplug();
    night.request.end = "--until 2020-01-01T00:00:00Z";
    night.request.end_utc = parse_iso_time("2020-01-01T00:00:00Z");
    CHECK(Watcher(night).fault() ==
          "--until 2020-01-01T00:00:00Z is past; name an end that is still to come");
  }

  TEST_CASE("a clock step of an hour either way is one event and moves no line") {
    for (const double step_s : {3600.0, -3600.0}) {
      WatchedNight night;
      {
        Watcher watcher(night);
        watcher.watch(30);
        night.clock.wall_ahead_s = step_s;
        watcher.watch(30);
        static_cast<void>(watcher.end());
      }
      const Track track = night.track();
      CHECK(track.warnings.empty());
      CHECK(track.rows.size() == 30);
      for (std::size_t k = 1; k < track.rows.size(); ++k) {
        CHECK(track.rows[k].t_s - track.rows[k - 1].t_s ==
              within_abs(1.0, 0.51));  // two pictures a second
      }
      REQUIRE(night.details("clock step").size() == 1);
      CHECK(night.details("clock step")[0].starts_with(
          step_s > 0 ? "this computer's clock was put forward by 1 h 00 min"
                     : "this computer's clock was put back by 1 h 00 min"));
      CHECK(seconds_between(*track.rows.front().utc, *track.rows.back().utc) ==
            within_abs(step_s + 29.0, 0.6));
    }
  }

  TEST_CASE("a camera that is silent for seconds or minutes costs the time, and is one event") {
    for (const double silence_s : {1.0, 4.0, 30.0, 300.0}) {
      CAPTURE(silence_s);
      WatchedNight night;
      {
        Watcher watcher(night);
        watcher.watch(30);
        night.pass(silence_s);
        watcher.watch(30);
        CHECK(watcher.end().pictures == 60);
      }
      const std::size_t losses = silence_s > 5.0 ? 1 : 0;
      CHECK(night.details("camera lost").size() == losses);
      CHECK(night.details("camera back").size() == losses);
      CHECK(night.details("gap").size() == 1 - losses);
      const Track track = night.track();
      CHECK(track.warnings.empty());
      CHECK(track.rows.size() >= 30);  // two pictures in each; those beside the gap may have one
      double longest_s = 0.0;
      for (std::size_t k = 1; k < track.rows.size(); ++k) {
        CHECK(track.rows[k].t_s > track.rows[k - 1].t_s);
        longest_s = std::max(longest_s, track.rows[k].t_s - track.rows[k - 1].t_s);
      }
      CHECK(longest_s == within_abs(silence_s + 0.75, 0.76));
    }
  }

  TEST_CASE("an unplugged camera is one event, its return another, and nothing else is lost") {
    WatchedNight night;
    {
      Watcher watcher(night);
      watcher.watch(30);
      night.camera.unplug();
      night.camera.await_openings(4);
      night.clock.now_s = night.clock.now_s + 290.0;
      night.camera.plug_in(kWatchedSize);
      watcher.watch(30);
      static_cast<void>(watcher.end());
    }
    CHECK(night.details("camera lost") ==
          std::vector<std::string>{"it was unplugged; it is tried again until it is back"});
    REQUIRE(night.details("camera back").size() == 1);
    CHECK(night.details("camera back")[0].starts_with("after 4 min 51 s"));
    const Track track = night.track();
    CHECK(track.warnings.empty());
    // 30 pictures before (15 lines) and 30 after; the second of the loss may be shared by none
    CHECK(track.rows.size() >= 30);
    CHECK(track.rows.back().t_s == within_abs(29.5 + 290.0, 0.6));
  }

  TEST_CASE("a camera that comes back with other pictures is waited for") {
    WatchedNight night;
    {
      Watcher watcher(night);
      watcher.watch(20);
      night.camera.unplug();
      night.camera.await_openings(3);
      night.camera.plug_in({160, 120});
      night.camera.await_more_openings(2);
      night.camera.plug_in(kWatchedSize);
      watcher.watch(10);
      static_cast<void>(watcher.end());
    }
    const auto lost = night.details("camera lost");
    REQUIRE(lost.size() == 2);
    CHECK(lost[1] ==
          "its pictures are now 160 x 120, not 320 x 240; it is tried again until it is back");
    CHECK(night.details("camera back").size() == 1);
    CHECK(night.track().warnings.empty());
  }

  TEST_CASE("a changed exposure is an event") {
    WatchedNight night;
    {
      Watcher watcher(night);
      watcher.watch(10);
      night.camera.change_setting("40 ms");
      watcher.watch(130);
      static_cast<void>(watcher.end());
    }
    CHECK(night.details("camera changed") ==
          std::vector<std::string>{"exposure was 20 ms, is now 40 ms"});
  }

  TEST_CASE("the video of the strip can be tracked again and keeps to its limit") {
    WatchedNight night;
    night.request.video_bytes = 50'000'000;
    static_cast<void>(watched(night, 60));
    const auto video = night.run().video() / "from_000000s.mkv";
    REQUIRE(std::filesystem::exists(video));
    VideoSource source(video);
    Frame frame;
    SpotFinder finder;
    int frames = 0;
    int right = 0;
    while (source.next(frame)) {
      const SpotMeasurement spot = finder.measure(frame.picture);
      // One frame each second, of two pictures; the first is picture 0.
      const double expected = NightCamera::spot_px(2 * frames, kWatchedSize).x;
      if (spot.position && std::abs(spot.position->x_px - expected) < 0.3) ++right;  // lossy
      CHECK(frame.t_s == within_abs(1.0 * frames, 0.002));
      ++frames;
    }
    CHECK(frames == 30);
    CHECK(right >= 28);
    CHECK(source.facts().start);

    WatchedNight small;
    small.request.video_bytes = 20'000;
    static_cast<void>(watched(small, 60));
    REQUIRE(small.details("video ended").size() == 1);
    CHECK(small.details("video ended")[0].starts_with("it takes up"));
    CHECK(small.track().rows.size() == 30);
  }

  TEST_CASE(
      "a camera that cannot be opened or gives nothing is the user's to mend, no folder left") {
    WatchedNight night;
    night.request.first_picture_patience = std::chrono::milliseconds(1);
    CHECK(Watcher(night).fault().find("was opened but gives no picture") != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(night.request.run));
    night.camera.unplug();
    CHECK(Watcher(night).fault() == "no camera");
    CHECK_FALSE(std::filesystem::exists(night.request.run));
  }

  TEST_CASE("asked to stop while the camera is being opened it ends at once, nothing written") {
    WatchedNight night;
    int asked = 0;
    const OpenCamera never_open = [&](const GiveUp& gives_up) {
      while (!gives_up()) ++asked;
      return nullptr;
    };
    const WatchSummary summary =
        watch(night.request,
              never_open,
              night.clock,
              {.why_stop = [&] { return asked < 3 ? std::string() : std::string("the test"); },
               .see = {},
               .tell = {}});
    CHECK(summary.ended == "the test");
    CHECK(summary.pictures == 0);
    CHECK_FALSE(std::filesystem::exists(night.request.run));
  }
}
