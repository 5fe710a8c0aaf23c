#pragma once

#include <atomic>
#include <filesystem>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/core.hpp>

#include "tests/support/await.h"
#include "tests/support/fake_camera.h"
#include "tests/support/fake_clock.h"
#include "tests/support/night_camera.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/event_log.h"
#include "tracker/run/track_file.h"
#include "tracker/watch/watch.h"

namespace nightswing::test {

inline const cv::Size kWatchedSize{320, 240};
constexpr double kPictureEvery_s = 0.5;

/// A night that passes as fast as its pictures are taken.
struct WatchedNight {
  TemporaryFolder folder;
  FakeClock clock;
  FakeCamera camera{clock, kWatchedSize};
  tracker::WatchRequest request;
  std::function<cv::Mat(long)> picture = [](long k) {
    return NightCamera::picture(k, kWatchedSize);
  };
  long shown = 0;

  WatchedNight() {
    request.run = folder / "run";
    request.grabber.first_wait = std::chrono::milliseconds(1);
    request.grabber.longest_wait = std::chrono::milliseconds(2);
    request.sync_every = std::chrono::milliseconds(5);
  }

  [[nodiscard]] tracker::RunFolder run() const { return {request.run}; }
  void show() {
    clock.now_s = clock.now_s + kPictureEvery_s;
    camera.show(picture(shown++));
  }
  void show(int pictures) {
    for (int k = 0; k < pictures; ++k) show();
  }
  /// Time without pictures.
  void pass(double seconds) {
    clock.now_s = clock.now_s + seconds;
    camera.await_grabs(3);
  }
  [[nodiscard]] tracker::Track track() const { return tracker::read_track(run().track()); }
  [[nodiscard]] std::vector<std::string> details(const std::string& event) const {
    std::vector<std::string> found;
    for (const tracker::Event& e : tracker::read_events(run().events()).events) {
      if (e.event == event) found.push_back(e.detail);
    }
    return found;
  }
};

/// A watch at work in a thread of its own, as long as this lives.
class Watcher {
 public:
  explicit Watcher(WatchedNight& night) : night_(night) {
    night_.camera.watched(true);
    thread_ = std::thread([this] { work(); });
  }
  ~Watcher() {
    stop_ = true;
    if (thread_.joinable()) thread_.join();
  }

  /// Waits until so many pictures have been measured.
  void await(long pictures) {
    static_cast<void>(test::await([&] { return pictures_ >= pictures || ended_; }));
    if (fault_.empty()) REQUIRE(pictures_ >= pictures);
  }
  /// Shows pictures and waits after each until it has been measured. A run that is gone on with
  /// looks at some pictures before.
  void watch(int pictures) {
    while (pictures_ == 0 && !ended_ && std::filesystem::exists(night_.run().track())) {
      night_.show();
      static_cast<void>(test::await([&] { return pictures_ > 0; }, std::chrono::milliseconds(20)));
    }
    for (int k = 0; k < pictures; ++k) {
      const long before = pictures_;
      night_.show();
      await(before + 1);
    }
  }
  tracker::WatchSummary end() {
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
  tracker::WatchSummary result() {
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
  tracker::WatchSummary watch_night() {
    return tracker::watch(
        night_.request,
        night_.camera.opener(),
        night_.clock,
        {.why_stop = [this] { return stop_ ? std::string("the test") : std::string(); },
         .see = [this](const tracker::WatchStatus& status,
                       const cv::Mat&) { pictures_ = status.pictures; },
         .tell = {}});
  }

  WatchedNight& night_;
  std::atomic<bool> stop_ = false;
  std::atomic<bool> ended_ = false;
  std::atomic<long> pictures_ = 0;
  std::string fault_;
  tracker::WatchSummary summary_;
  std::thread thread_;
};

/// Watches so many pictures and ends.
inline tracker::WatchSummary watched(WatchedNight& night, int pictures) {
  Watcher watcher(night);
  watcher.watch(pictures);
  return watcher.end();
}

}  // namespace nightswing::test
