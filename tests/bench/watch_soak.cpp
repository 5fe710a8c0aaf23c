// A whole day of `watch`, as fast as its pictures can be looked at: resident memory and disk of
// each hour, on standard output. Ends with 1 if a picture was lost or memory grew after the first
// quarter of the time.
//   watch_soak FOLDER [HOURS (24)] [PICTURES A SECOND (1)]
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>

#define DOCTEST_CONFIG_IMPLEMENT  // the camera checks that its pictures are taken
#include <doctest/doctest.h>

#include "tests/support/await.h"
#include "tests/support/fake_camera.h"
#include "tests/support/fake_clock.h"
#include "tests/support/night_camera.h"
#include "tracker/watch/watch.h"

namespace {

using namespace nightswing;

const cv::Size kSize{320, 240};
constexpr double kGrowth_MB = 8.0;  // what the allocator may keep of the larger fits

double resident_megabytes() {
  std::ifstream file("/proc/self/statm");
  long total = 0;
  long resident = 0;
  file >> total >> resident;
  return static_cast<double>(resident) * static_cast<double>(::sysconf(_SC_PAGESIZE)) / 1e6;
}

double megabytes_in(const std::filesystem::path& folder) {
  double bytes = 0.0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
    if (entry.is_regular_file()) bytes += static_cast<double>(entry.file_size());
  }
  return bytes / 1e6;
}

}  // namespace

int main(int count, char** arguments) {
  if (count < 2) {
    std::fprintf(stderr, "watch_soak FOLDER [HOURS (24)] [PICTURES A SECOND (1)]\n");
    return 2;
  }
  doctest::Context checks;
  checks.setAsDefaultForAssertsOutOfTestCases();
  const int hours = count > 2 ? std::atoi(arguments[2]) : 24;
  const int rate = count > 3 ? std::atoi(arguments[3]) : 1;
  test::FakeClock clock;
  test::FakeCamera camera(clock, kSize);
  const std::filesystem::path run = std::filesystem::path(arguments[1]) / "soak";
  const tracker::WatchRequest request{.run = run};
  std::atomic<long> measured = 0;
  std::atomic<bool> stop = false;
  std::atomic<bool> ended = false;
  std::thread watching([&] {
    try {
      const auto summary = tracker::watch(
          request,
          camera.opener(),
          clock,
          {.why_stop = [&] { return stop ? std::string("the day is over") : std::string(); },
           .see = [&](const tracker::WatchStatus& status,
                      const cv::Mat&) { measured = status.pictures; },
           .tell = {}});
      std::printf("%ld pictures, %ld with the spot\n",
                  summary.pictures,
                  summary.pictures_by_state.measured());
    } catch (const std::exception& error) {
      std::printf("%s\n", error.what());
    }
    ended = true;
    camera.watched(false);
  });
  double settled_MB = 0.0;
  double last_MB = 0.0;
  long shown = 0;
  std::printf("%6s %10s %12s %12s\n", "hour", "pictures", "memory (MB)", "folder (MB)");
  for (int hour = 1; hour <= hours && !ended; ++hour) {
    for (int k = 0; k < 3600 * rate && !ended; ++k) {
      clock.now_s = clock.now_s + 1.0 / rate;
      camera.show(test::NightCamera::picture(shown++, kSize));
      static_cast<void>(nightswing::test::await([&] { return measured >= shown || ended; }));
    }
    last_MB = resident_megabytes();
    if (4 * hour <= hours + 3) settled_MB = std::max(settled_MB, last_MB);
    std::printf("%6d %10ld %12.1f %12.1f\n", hour, shown, last_MB, megabytes_in(run));
    std::fflush(stdout);
  }
  const bool whole = !ended;
  stop = true;
  watching.join();
  return whole && last_MB < settled_MB + kGrowth_MB ? 0 : 1;
}
