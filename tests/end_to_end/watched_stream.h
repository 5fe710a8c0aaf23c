#pragma once

#include <chrono>
#include <string>
#include <vector>

#include <doctest/doctest.h>
#include <opencv2/core.hpp>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/night_camera.h"
#include "tests/support/running_program.h"
#include "tests/support/served_stream.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/event_log.h"

namespace nightswing::test {

inline const cv::Size kSize{320, 240};

/// `nightswing watch` of that camera, four lines a second.
inline RunningProgram watching(const ServedStream& stream,
                               const std::string& run,
                               const std::string& more = "") {
  return RunningProgram("watch --camera " + stream.address() + " --every 250ms --run " + run + more,
                        run + ".errors");
}

/// A camera at a night's wall, served on this computer, and the folder that it is watched into.
struct WatchedStream {
  TemporaryFolder folder;
  ServedStream stream;
  NightCamera camera{stream, kSize, std::chrono::milliseconds(40)};
  std::string run = (folder / "run").string();

  [[nodiscard]] long track_lines() const { return lines_in(run + "/track.csv"); }
  void await_lines(RunningProgram& watch, long more) const {
    const long wanted = track_lines() + more;
    REQUIRE_MESSAGE(await([&] { return track_lines() >= wanted || !watch.is_running(); }),
                    watch.errors());
    REQUIRE_MESSAGE(watch.is_running(), watch.errors());
  }
  [[nodiscard]] std::vector<tracker::Event> events(const std::string& name) const {
    std::vector<tracker::Event> found;
    for (const tracker::Event& event : tracker::read_events(run + "/events.csv").events) {
      if (event.event == name) found.push_back(event);
    }
    return found;
  }
};

}  // namespace nightswing::test
