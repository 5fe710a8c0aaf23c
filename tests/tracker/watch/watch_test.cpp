// The watch with a camera and a clock of the test's own: what it writes, and what it makes of every
// fault of a night.
#include "tracker/watch/watch.h"

#include <algorithm>
#include <atomic>
#include <thread>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "analysis/input_error.h"
#include "tests/calibration/rendered_scale.h"
#include "tests/support/fake_camera.h"
#include "tests/support/near.h"
#include "tests/support/night_camera.h"
#include "tests/support/temporary_folder.h"
#include "tracker/event_log.h"
#include "tracker/spot_finder.h"
#include "tracker/track_file.h"
#include "tracker/video_source.h"
#include "tracker/watch/earlier_run.h"
#include "tracker/watch/watch_file.h"

using namespace nightswing::tracker;
using namespace nightswing::test;
using nightswing::InputError;

namespace {

const cv::Size kSize{320, 240};
constexpr double kStep_s = 0.5;

/// A night that passes as fast as its pictures are taken.
struct Night {
  TemporaryFolder folder;
  FakeClock clock;
  FakeCamera camera{clock, kSize};
  WatchRequest request;
  long shown = 0;

  Night() {
    request.run = folder / "run";
    request.grabber.first_wait = std::chrono::milliseconds(1);
    request.grabber.longest_wait = std::chrono::milliseconds(2);
    request.sync_every = std::chrono::milliseconds(5);
  }

  [[nodiscard]] RunFolder run() const { return {request.run}; }
  void show() {
    clock.now_s = clock.now_s + kStep_s;
    camera.show(NightCamera::picture(shown++, kSize));
  }
  void show(int pictures) {
    for (int k = 0; k < pictures; ++k) show();
  }
  /// Time without pictures.
  void pass(double seconds) {
    clock.now_s = clock.now_s + seconds;
    camera.await_grabs(3);
  }
  [[nodiscard]] Track track() const { return read_track(run().track()); }
  [[nodiscard]] std::vector<std::string> details(const std::string& event) const {
    std::vector<std::string> found;
    for (const Event& e : read_events(run().events()).events) {
      if (e.event == event) found.push_back(e.detail);
    }
    return found;
  }
};

/// A watch at work in a thread of its own, as long as this lives.
class Watcher {
 public:
  explicit Watcher(Night& night) : night_(night) {
    night_.camera.watched(true);
    thread_ = std::thread([this] { work(); });
  }
  ~Watcher() {
    stop_ = true;
    if (thread_.joinable()) thread_.join();
  }

  /// Waits until so many pictures have been measured.
  void await(long pictures) {
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    while (pictures_ < pictures && !ended_ && std::chrono::steady_clock::now() < end) {
      std::this_thread::yield();
    }
    if (fault_.empty()) REQUIRE(pictures_ >= pictures);
  }
  /// Shows pictures and waits after each until it has been measured. A run that is gone on with
  /// looks at some pictures before.
  void watch(int pictures) {
    while (pictures_ == 0 && !ended_ && std::filesystem::exists(night_.run().track())) {
      night_.show();
      const auto soon = std::chrono::steady_clock::now() + std::chrono::milliseconds(20);
      while (pictures_ == 0 && std::chrono::steady_clock::now() < soon) std::this_thread::yield();
    }
    for (int k = 0; k < pictures; ++k) {
      const long before = pictures_;
      night_.show();
      await(before + 1);
    }
  }
  WatchSummary end() {
    stop_ = true;
    thread_.join();
    REQUIRE_MESSAGE(fault_.empty(), fault_);
    return summary_;
  }
  /// Waits for it to fail.
  std::string fault() {
    thread_.join();
    return fault_;
  }
  /// Waits for the end that it comes to by itself.
  WatchSummary result() {
    thread_.join();
    REQUIRE_MESSAGE(fault_.empty(), fault_);
    return summary_;
  }
  [[nodiscard]] bool has_measured(long pictures) const { return pictures_ >= pictures || ended_; }
  [[nodiscard]] bool has_ended() const { return ended_; }

 private:
  void work() {
    try {
      summary_ = watch_night();
    } catch (const std::exception& error) {
      fault_ = error.what();
    }
    ended_ = true;
    night_.camera.watched(false);
  }
  WatchSummary watch_night() {
    return nightswing::tracker::watch(
        night_.request,
        night_.camera.opener(),
        night_.clock,
        {.why_stop = [this] { return stop_ ? std::string("the test") : std::string(); },
         .see = [this](const WatchStatus& status, const cv::Mat&) { pictures_ = status.pictures; },
         .tell = {}});
  }

  Night& night_;
  std::atomic<bool> stop_ = false;
  std::atomic<bool> ended_ = false;
  std::atomic<long> pictures_ = 0;
  std::string fault_;
  WatchSummary summary_;
  std::thread thread_;
};

/// Watches so many pictures and ends.
WatchSummary watched(Night& night, int pictures) {
  Watcher watcher(night);
  watcher.watch(pictures);
  return watcher.end();
}

}  // namespace

TEST_SUITE("watch") {
  TEST_CASE("a night is written as it passes, one line for each time asked for") {
    Night night;
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
            within_abs(NightCamera::spot_px(row.t_s / kStep_s, kSize).x, 0.6));
      CHECK(row.spot.position->y_px == within_abs(0.5 * kSize.height, 0.6));
    }
    CHECK(night.details("started") == std::vector<std::string>{"test camera"});
    CHECK(night.details("ended") == std::vector<std::string>{"the test: 60 pictures"});
    REQUIRE(night.details("camera").size() == 1);
    CHECK(night.details("camera")[0] == "test pictures; settings: exposure 20 ms; times: the test");
    CHECK(std::filesystem::exists(night.run().first_frame()));
    CHECK(read_run_info(night.run()).start);
  }

  TEST_CASE("it ends by itself after the time that was asked for") {
    Night night;
    night.request.for_s = 20.0;
    night.request.end = "--for 20s";
    Watcher watcher(night);
    watcher.watch(40);
    night.clock.now_s = night.clock.now_s + 1.0;
    CHECK(watcher.result().ended == "--for 20s");
    Watcher again(night);
    CHECK(again.result().ended == "it was over already (--for 20s)");
    CHECK(night.details("ended").size() == 1);
  }

  TEST_CASE("an end by the wall clock stays that of the first evening") {
    Night night;
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

  TEST_CASE("an interrupted run is gone on with: one track, the gap in the log") {
    Night night;
    static_cast<void>(watched(night, 40));
    const double last_s = night.track().rows.back().t_s;
    const std::size_t lines = night.track().rows.size();
    night.clock.now_s = night.clock.now_s + 43.0;
    static_cast<void>(watched(night, 20));
    const Track track = night.track();
    CHECK(track.warnings.empty());
    CHECK(track.rows.size() > lines);
    const TrackRow& first = track.rows.at(lines);
    // eight pictures and perhaps some more to look at the view
    CHECK(first.t_s > 19.5 + 43.0 + 4.0 - 1.0);
    CHECK(first.t_s < 19.5 + 43.0 + 30.0);
    // to the millisecond that is written
    CHECK(seconds_between(*track.rows.front().utc, *first.utc) ==
          within_abs(first.t_s - track.rows.front().t_s, 2e-3));
    REQUIRE(night.details("resumed").size() == 1);
    CHECK(night.details("resumed")[0].ends_with("without a track: the program had ended"));
    CHECK(night.details("started").size() == 1);
    CHECK(night.details("warning").size() == 1);  // there is no scale, said by the first part
    CHECK(last_s < 20.0);
  }

  TEST_CASE(
      "how evenly the pictures come is told of each part of a run, after a while of its own") {
    Night night;
    static_cast<void>(watched(night, 300));
    REQUIRE(night.details("pictures").size() == 1);
    const double last_s = night.track().rows.back().t_s;
    static_cast<void>(watched(night, 300));
    std::vector<double> told_s;
    for (const Event& e : read_events(night.run().events()).events) {
      if (e.event == "pictures") told_s.push_back(*e.t_s);
    }
    REQUIRE(told_s.size() == 2);
    CHECK(told_s[1] > last_s + 120.0);
  }

  TEST_CASE("over a restart of the computer the wall clock carries the time") {
    Night night;
    static_cast<void>(watched(night, 40));
    const std::size_t lines = night.track().rows.size();
    night.clock.boot_word = "second";
    night.clock.wall_ahead_s = night.clock.now_s - 30.0 + 600.0;  // off for ten minutes
    night.clock.now_s = 30.0;
    static_cast<void>(watched(night, 20));
    const Track track = night.track();
    CHECK(track.warnings.empty());
    const TrackRow& first = track.rows.at(lines);
    CHECK(first.t_s > 19.5 + 600.0);
    CHECK(seconds_between(*track.rows.front().utc, *first.utc) ==
          within_abs(first.t_s - track.rows.front().t_s, 2e-3));
    REQUIRE(night.details("resumed").size() == 1);
    CHECK(night.details("resumed")[0].find("this computer had been restarted") !=
          std::string::npos);
    CHECK(night.details("clock step").empty());
    // and once more in the same running of the computer
    static_cast<void>(watched(night, 20));
    CHECK(night.track().warnings.empty());
    CHECK(night.details("resumed").back().find("the program had ended") != std::string::npos);
  }

  TEST_CASE("a clock that is behind the track after a restart must be set first") {
    Night night;
    static_cast<void>(watched(night, 40));
    night.clock.boot_word = "second";
    night.clock.now_s = 30.0;
    night.clock.wall_ahead_s = -3600.0;
    Watcher watcher(night);
    while (!watcher.has_ended()) night.show();
    CHECK(watcher.fault().find("set the clock, then give the same command again") !=
          std::string::npos);
  }

  TEST_CASE("a torn last line is cut off, told, and costs nothing else") {
    Night night;
    static_cast<void>(watched(night, 40));
    const std::size_t lines = night.track().rows.size();
    const auto whole = std::filesystem::file_size(night.run().track());
    std::filesystem::resize_file(night.run().track(), whole - 7);
    static_cast<void>(watched(night, 20));
    const Track track = night.track();
    CHECK(track.warnings.empty());
    CHECK(track.rows.at(lines - 2).t_s < track.rows.at(lines - 1).t_s);
    CHECK(night.details("resumed").at(0).ends_with("an unfinished last line was cut off"));
  }

  TEST_CASE("a clock step of an hour either way is one event and moves no line") {
    for (const double step_s : {3600.0, -3600.0}) {
      Night night;
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

  TEST_CASE(
      "a camera that is silent for seconds or minutes costs the time, and one event if long") {
    for (const double silence_s : {1.0, 4.0, 30.0, 300.0}) {
      CAPTURE(silence_s);
      Night night;
      {
        Watcher watcher(night);
        watcher.watch(30);
        night.pass(silence_s);
        watcher.watch(30);
        CHECK(watcher.end().pictures == 60);
      }
      const std::size_t events = silence_s > 5.0 ? 1 : 0;
      CHECK(night.details("camera lost").size() == events);
      CHECK(night.details("camera back").size() == events);
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

  TEST_CASE("an unplugged camera is one event, its return another; nothing else is lost") {
    Night night;
    {
      Watcher watcher(night);
      watcher.watch(30);
      night.camera.unplug();
      night.camera.await_openings(4);
      night.clock.now_s = night.clock.now_s + 290.0;
      night.camera.plug_in(kSize);
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
    Night night;
    {
      Watcher watcher(night);
      watcher.watch(20);
      night.camera.unplug();
      night.camera.await_openings(3);
      night.camera.plug_in({160, 120});
      night.camera.await_openings(6);
      night.camera.plug_in(kSize);
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
    Night night;
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

  TEST_CASE("another camera, size, pace or scale is refused, and the run left as it is") {
    Night night;
    static_cast<void>(watched(night, 20));
    const auto before = std::filesystem::file_size(night.run().track());
    SUBCASE("pace") {
      night.request.every = "2s";
      CHECK(Watcher(night).fault().find("was begun with --every '1s', not '2s'") !=
            std::string::npos);
    }
    SUBCASE("scale") {
      night.request.scale_text = "199.4(2) mm";
      CHECK(Watcher(night).fault().find("was begun with the scale '', not '199.4(2) mm'") !=
            std::string::npos);
    }
    SUBCASE("size") {
      night.camera.plug_in({160, 120});
      CHECK(Watcher(night).fault().find(
                "was begun with pictures of '320 x 240', not '160 x 120'") != std::string::npos);
    }
    SUBCASE("camera") {
      WatchFile file = read_watch_file(night.run().watch());
      file.camera = "another";
      write_watch_file(night.run().watch(), file);
      CHECK(Watcher(night).fault().find("was begun with the camera 'another'") !=
            std::string::npos);
    }
    SUBCASE("a track that no watch has made") {
      std::filesystem::remove(night.run().watch());
      CHECK(Watcher(night).fault().find("a track that was not made by watching") !=
            std::string::npos);
    }
    SUBCASE("another program") {
      const RunLock lock(night.run());
      CHECK(Watcher(night).fault().find("another program is still tracking") != std::string::npos);
    }
    CHECK(std::filesystem::file_size(night.run().track()) == before);
  }

  TEST_CASE("another place at the wall is told by the scale in it, another light is not one") {
    CameraPose pose;
    pose.distance_mm = 400.0;
    const cv::Size size{1280, 720};
    const auto shown = [&](const CameraPose& from, double light) {
      RenderOptions options{.size = size};
      options.paper_dn *= light;
      options.ink_dn *= light;
      options.wall_dn *= light;
      cv::Mat colour;
      const cv::Mat gray = render_scale(pixel_from_wall_matrix(from, size), options);
      cv::cvtColor(gray, colour, cv::COLOR_GRAY2BGR);
      return colour;
    };
    const EarlierView first{.first = shown(pose, 1.0), .spots = {}};
    CHECK(check_view(first, shown(pose, 1.0)).verdict == ViewVerdict::kSame);
    CHECK(check_view(first, shown(pose, 0.3)).verdict == ViewVerdict::kSame);
    CameraPose knocked = pose;
    knocked.aim.x_mm += 8.0;
    CHECK(check_view(first, shown(knocked, 1.0)).verdict == ViewVerdict::kSame);
    CameraPose nearer = pose;
    nearer.distance_mm = 330.0;
    CHECK(check_view(first, shown(nearer, 1.0)).verdict == ViewVerdict::kOther);
    CameraPose elsewhere = pose;
    elsewhere.roll_rad = 0.3;
    CHECK(check_view(first, shown(elsewhere, 1.0)).verdict == ViewVerdict::kOther);
    CHECK(check_view(first, shown(pose, 0.01)).verdict == ViewVerdict::kUnknown);
    CHECK(check_view(first, cv::Mat(100, 100, CV_8UC3)).verdict == ViewVerdict::kOther);
  }

  TEST_CASE("a dark room does not keep a run from going on") {
    Night night;
    static_cast<void>(watched(night, 20));
    Watcher watcher(night);
    int k = 0;
    while (!watcher.has_measured(3)) {
      night.clock.now_s = night.clock.now_s + kStep_s;
      const cv::Mat dark(kSize, CV_8UC3, cv::Scalar::all(2 + k++ % 2));
      night.camera.show(dark);
    }
    static_cast<void>(watcher.end());
    bool told = false;
    for (const auto& text : night.details("warning")) {
      told = told || text.find("too little of the wall") != std::string::npos;
    }
    CHECK(told);
    CHECK(night.track().rows.back().spot.state == SpotState::kDark);
  }

  TEST_CASE("the video of the strip can be tracked again and keeps to its limit") {
    Night night;
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
      const double expected = NightCamera::spot_px(2 * frames, kSize).x;
      if (spot.position && std::abs(spot.position->x_px - expected) < 0.3) ++right;  // lossy
      CHECK(frame.t_s == within_abs(1.0 * frames, 0.002));
      ++frames;
    }
    CHECK(frames == 30);
    CHECK(right >= 28);
    CHECK(source.facts().start);

    Night small;
    small.request.video_bytes = 20'000;
    static_cast<void>(watched(small, 60));
    REQUIRE(small.details("video ended").size() == 1);
    CHECK(small.details("video ended")[0].starts_with("it takes up"));
    CHECK(small.track().rows.size() == 30);
  }

  TEST_CASE("a camera that is opened but gives nothing is the user's to mend") {
    Night night;
    night.request.first_picture_patience = std::chrono::milliseconds(1);
    CHECK(Watcher(night).fault().find("was opened but gives no picture") != std::string::npos);
  }
}
