// A watch that was interrupted and is gone on with, or refused.
#include "tracker/watch/earlier_run.h"

#include <algorithm>

#include <doctest/doctest.h>
#include <opencv2/imgproc.hpp>

#include "analysis/quantities/input_error.h"
#include "tests/calibration/scale/rendered_scale.h"
#include "tests/support/near.h"
#include "tests/support/watched_night.h"
#include "tracker/watch/watch_file.h"

using namespace nightswing::tracker;
using namespace nightswing::test;

namespace {

const cv::Size kScaleSize{1280, 720};

CameraPose scale_pose() {
  CameraPose pose;
  pose.distance_mm = 400.0;
  return pose;
}

/// The printed scale at the wall as a camera shows it.
cv::Mat shown_scale(const CameraPose& from, double light) {
  RenderOptions options{.size = kScaleSize};
  options.paper_dn *= light;
  options.ink_dn *= light;
  options.wall_dn *= light;
  cv::Mat colour;
  const cv::Mat gray = render_scale(pixel_from_wall_matrix(from, kScaleSize), options);
  cv::cvtColor(gray, colour, cv::COLOR_GRAY2BGR);
  return colour;
}

/// Picture k of a night: the spot creeps along.
cv::Mat with_spot(const cv::Mat& wall, long k) {
  cv::Mat picture = wall.clone();
  cv::circle(picture, {600 + static_cast<int>(k % 50), 330}, 4, cv::Scalar::all(255), -1);
  return picture;
}

}  // namespace

TEST_SUITE("earlier run") {
  TEST_CASE("an interrupted run is gone on with: one track, the gap in the log") {
    WatchedNight night;
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
    WatchedNight night;
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
    WatchedNight night;
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
    WatchedNight night;
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
    WatchedNight night;
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

  TEST_CASE("another camera, size, pace or scale is refused, and the run left as it is") {
    WatchedNight night;
    static_cast<void>(watched(night, 20));
    const auto before = std::filesystem::file_size(night.run().track());
    SUBCASE("pace") {
      night.request.every = "2s";
      CHECK(Watcher(night).fault().find("was begun with --every '1s', not '2s'") !=
            std::string::npos);
    }
    SUBCASE("scale") {
      night.request.scale_text = "199.4(2) mm";
      CHECK(Watcher(night).fault().find("was begun with --bar 'none', not '199.4(2) mm'") !=
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

  TEST_CASE("a run that is over refuses another pace, too, and needs no camera to be over") {
    WatchedNight night;
    night.request.for_s = 10.0;
    night.request.end = "--for 10s";
    {
      Watcher watcher(night);
      watcher.watch(20);
      night.clock.now_s = night.clock.now_s + 1.0;
      static_cast<void>(watcher.result());
    }
    night.camera.unplug();
    CHECK(Watcher(night).result().was_over);
    night.request.every = "1000ms";  // the same in other words
    CHECK(Watcher(night).result().was_over);
    night.request.every = "2s";
    CHECK(Watcher(night).fault().find("was begun with --every '1s', not '2s'") !=
          std::string::npos);
  }

  TEST_CASE("a pace is the same in other words though its last bits differ") {
    const RunFolder run{"run"};
    EarlierRun begun{};
    begun.watch.every = "0.7s";
    CHECK_NOTHROW(check_same_request(run, begun, "700ms", ""));
    CHECK_THROWS_AS(check_same_request(run, begun, "701ms", ""), nightswing::InputError);
  }

  TEST_CASE("the scale is told once, not again whenever the run is gone on with") {
    const cv::Mat wall = shown_scale(scale_pose(), 1.0);
    WatchedNight night;
    night.camera.plug_in(kScaleSize);
    night.picture = [&wall](long k) { return with_spot(wall, k); };
    static_cast<void>(watched(night, 30));
    REQUIRE(night.details("calibrated").size() == 1);
    static_cast<void>(watched(night, 30));
    CHECK(night.details("resumed").size() == 1);
    CHECK(night.details("calibrated").size() == 1);
  }

  TEST_CASE("a scale that is covered at the beginning is read when it comes into view") {
    const cv::Mat wall = shown_scale(scale_pose(), 1.0);
    bool covered = true;
    WatchedNight night;
    night.camera.plug_in(kScaleSize);
    night.picture = [&](long k) {
      return with_spot(covered ? cv::Mat(kScaleSize, CV_8UC3, cv::Scalar::all(60)) : wall, k);
    };
    Watcher watcher(night);
    for (int k = 0; k < 20 && night.details("warning").empty(); ++k) watcher.watch(12);
    REQUIRE(night.details("warning").size() == 1);
    CHECK(night.details("warning")[0].find("looked at again") != std::string::npos);
    covered = false;
    night.clock.now_s = night.clock.now_s + 61.0;
    for (int k = 0; k < 20 && night.details("calibrated").empty(); ++k) watcher.watch(12);
    static_cast<void>(watcher.end());
    CHECK(night.details("calibrated").size() == 1);
    CHECK(std::filesystem::exists(night.run().wall()));
    // That it was tried in vain is not told again.
    CHECK(std::ranges::count_if(night.details("warning"), [](const std::string& text) {
            return text.find("looked at again") != std::string::npos;
          }) == 1);
  }

  TEST_CASE("another place at the wall is told by the scale in it, another light is not one") {
    const CameraPose pose = scale_pose();
    const EarlierView first{.first = shown_scale(pose, 1.0), .spots = {}};
    CHECK(check_view(first, shown_scale(pose, 1.0)).verdict == ViewVerdict::kSame);
    CHECK(check_view(first, shown_scale(pose, 0.3)).verdict == ViewVerdict::kSame);
    CameraPose knocked = pose;
    knocked.aim.x_mm += 8.0;
    CHECK(check_view(first, shown_scale(knocked, 1.0)).verdict == ViewVerdict::kSame);
    CameraPose nearer = pose;
    nearer.distance_mm = 330.0;
    CHECK(check_view(first, shown_scale(nearer, 1.0)).verdict == ViewVerdict::kOther);
    CameraPose elsewhere = pose;
    elsewhere.roll_rad = 0.3;
    CHECK(check_view(first, shown_scale(elsewhere, 1.0)).verdict == ViewVerdict::kOther);
    CHECK(check_view(first, shown_scale(pose, 0.01)).verdict == ViewVerdict::kUnknown);
    // begun in the dark, gone on with at dawn
    const EarlierView dark{.first = shown_scale(pose, 0.01), .spots = {}};
    CHECK(check_view(dark, shown_scale(pose, 1.0)).verdict == ViewVerdict::kUnknown);
    CHECK(check_view(first, cv::Mat(100, 100, CV_8UC3)).verdict == ViewVerdict::kOther);
  }

  TEST_CASE("a dark room does not keep a run from going on") {
    WatchedNight night;
    static_cast<void>(watched(night, 20));
    Watcher watcher(night);
    int k = 0;
    while (!watcher.has_measured(3)) {
      night.clock.now_s = night.clock.now_s + kPictureEvery_s;
      const cv::Mat dark(kWatchedSize, CV_8UC3, cv::Scalar::all(2 + k++ % 2));
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
}
