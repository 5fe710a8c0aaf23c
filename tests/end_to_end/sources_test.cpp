// The same short night as a film, as a film whose pace is not said, and as photographs.
#include <algorithm>
#include <cmath>
#include <string>

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <opencv2/videoio.hpp>

#include "tests/end_to_end/run_fixture.h"
#include "tests/support/exif_photo.h"
#include "tests/support/near.h"
#include "tests/support/temporary_folder.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/run/track_file.h"

using namespace nightswing;
using namespace nightswing::test;

namespace {

/// 300 frames, one every 5 s, played at 25 a second.
const std::string& film() {
  static const TemporaryFolder folder;
  static const std::string path = [] {
    const auto rendered = demo_night_command("--out " + folder.path().string() +
                                             " --size 640x360 --preset veryfast --duration 25m"
                                             " --sides plus@0s");
    REQUIRE_MESSAGE(rendered.status == 0, rendered.errors);
    return (folder / "night.mp4").string();
  }();
  return path;
}

tracker::Track tracked(const std::string& arguments, const std::string& run) {
  const auto result = nightswing_command("replay " + arguments + " --quiet --run " + run);
  REQUIRE_MESSAGE(result.status == 0, result.errors);
  return tracker::read_track(run + "/track.csv");
}

/// The film's frames as photographs IMG_0001.jpg ... of a camera whose clock is set back by an hour
/// in the middle; number 101 is missing, number 201 is no picture.
void write_photos(const std::filesystem::path& folder) {
  std::filesystem::create_directory(folder);
  cv::VideoCapture capture(film(), cv::CAP_FFMPEG);
  cv::Mat picture;
  for (int k = 1; capture.read(picture); ++k) {
    if (k == 101) continue;
    const int clock_s = 2 * 3600 + 5 * (k - 1) - (k > 150 ? 3600 : 0);
    write_photo(
        folder / fmt::format("IMG_{:04}.jpg", k),
        picture,
        {.date_time_original = fmt::format(
             "2026:10:25 {:02}:{:02}:{:02}", clock_s / 3600, clock_s / 60 % 60, clock_s % 60),
         .sub_sec_time_original = "00",
         .offset_time_original = {}});
    if (k == 201) write_text(folder / "IMG_0201.jpg", "no picture");
  }
}

}  // namespace

TEST_SUITE("sources") {
  TEST_CASE("a time-lapse whose pace is not said is asked for it in one sentence") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    const auto result = nightswing_command("replay " + film() + " --quiet --run " + run);
    CHECK(result.status == 1);
    // 606.2 s beside the sources (the film's truth) at 25 frames a second of 5 s each are 4.85 s,
    // shown to a tenth.
    CHECK(swing_told_s(result.errors) == within_abs(4.85, 0.051));
    CHECK(result.errors.find("such as --frame-every 5s, or when it began and ended with --start "
                             "and --end") != std::string::npos);
    CHECK(result.errors.find('\n') == result.errors.size() - 1);
    // Whoever insists is believed.
    CHECK(tracked(film() + " --frame-every 40ms", (folder / "fast").string()).rows.size() == 300);
  }

  TEST_CASE("begin and end of the night give the same times as the pace") {
    const TemporaryFolder folder;
    const auto by_pace = tracked(film() + " --frame-every 5s", (folder / "pace").string());
    const auto by_span =
        tracked(film() + " --start 2026-03-14T21:30:00Z --end 2026-03-14T21:54:55Z",
                (folder / "span").string());
    REQUIRE(by_pace.rows.size() == 300);
    REQUIRE(by_span.rows.size() == 300);
    for (std::size_t k = 0; k < 300; ++k) {
      CHECK(by_span.rows[k].t_s == within_abs(by_pace.rows[k].t_s, 1e-6));
      CHECK(by_span.rows[k].spot == by_pace.rows[k].spot);
    }
    CHECK(nightswing_command("replay " + film() + " --end 2026-03-14T21:54:55Z --run " +
                             (folder / "none").string())
              .errors ==
          "nightswing: --end tells the pace only with --start: give both, or --frame-every\n");
  }

  TEST_CASE("averages of a fast film are one line a window, and resumed the same") {
    const TemporaryFolder folder;
    const std::string run = (folder / "run").string();
    const std::string arguments = film() + " --frame-every 40ms --average 1s";
    const auto averaged = tracked(arguments, run);
    const auto single = tracked(film() + " --frame-every 40ms", (folder / "single").string());
    REQUIRE(averaged.rows.size() == 12);  // 300 frames of 40 ms
    for (std::size_t k = 0; k < 12; ++k) {
      double weights = 0.0;
      double sum_px = 0.0;
      double sum_s = 0.0;
      for (std::size_t i = 25 * k; i < 25 * k + 25; ++i) {
        const auto& spot = *single.rows[i].spot.position;
        const double weight = 1.0 / (spot.u_x_px * spot.u_y_px);
        weights += weight;
        sum_px += weight * spot.x_px;
        sum_s += weight * single.rows[i].t_s;
      }
      CHECK(averaged.rows[k].t_s == within_abs(sum_s / weights, 1e-3));
      // single.csv rounds the weights to 1e-5 of some 1e-2
      CHECK(averaged.rows[k].spot.position->x_px == within_abs(sum_px / weights, 1e-2));
    }
    const std::string whole = tracker::read_whole_file(run + "/track.csv");
    std::filesystem::resize_file(run + "/track.csv", whole.size() / 2);
    REQUIRE(nightswing_command("replay " + arguments + " --quiet --resume --run " + run).status ==
            0);
    CHECK(tracker::read_whole_file(run + "/track.csv") == whole);
    CHECK(nightswing_command("replay " + film() + " --average 1m --run " + run)
              .errors.find("give more than 0 and at most 10 s") != std::string::npos);
  }

  TEST_CASE("photographs give the track of the film, and what is amiss with them is in the log") {
    const TemporaryFolder folder;
    write_photos(folder / "photos");
    const auto of_film = tracked(film() + " --frame-every 5s", (folder / "film").string());
    const std::string run = (folder / "run").string();
    const auto track = tracked((folder / "photos").string(), run);
    REQUIRE(track.rows.size() == 298);
    double squares = 0.0;
    for (const auto& row : track.rows) {
      const auto k = static_cast<std::size_t>(std::lround(row.t_s / 5.0));
      CHECK(row.t_s == within_abs(5.0 * static_cast<double>(k), 1e-5));
      REQUIRE(tracker::is_measured(row.spot.state));
      squares += std::pow(row.spot.position->x_px - of_film.rows.at(k).spot.position->x_px, 2);
    }
    // Both scatter by some 0.05 px through their compression.
    CHECK(std::sqrt(squares / 298.0) < 0.1);
    std::string gaps;
    for (const auto& event : tracker::read_events(run + "/events.csv").events) {
      if (event.event == "gap") gaps += fmt::format("{:.0f}: {}\n", *event.t_s, event.detail);
    }
    CHECK(gaps ==
          "505: 1 photographs are missing between IMG_0100.jpg and IMG_0102.jpg\n"
          "750: the camera's clock went back by 1 h 00 min; one usual step was taken instead\n"
          "1005: IMG_0201.jpg cannot be read and was left out\n");
    const auto again = nightswing_command("replay " + (folder / "photos").string() +
                                          " --quiet --resume --run " + run);
    CHECK_MESSAGE(again.status == 0, again.errors);
    const auto filmed = nightswing_command("film --quiet --seconds 2 " + run);
    CHECK_MESSAGE(filmed.status == 0, filmed.errors);
    CHECK(filmed.output.find("from " + (folder / "photos").string()) != std::string::npos);
  }

  TEST_CASE("a film is not written over the film of the night") {
    const TemporaryFolder folder;
    const std::string night = (folder / "night.mp4").string();
    std::filesystem::copy_file(film(), night);
    const std::string run = (folder / "run").string();
    static_cast<void>(tracked(night + " --frame-every 5s", run));
    for (const char* wall : {"", " --drawn"}) {
      const auto refused =
          nightswing_command("film --quiet --seconds 2 -o " + night + " " + run + wall);
      CHECK(refused.status == 2);
      CHECK(refused.errors.find("that is the film of the night itself") != std::string::npos);
    }
    CHECK(std::filesystem::file_size(night) == std::filesystem::file_size(film()));
  }
}
