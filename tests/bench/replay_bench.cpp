// How long the replay of a video takes beside the bare decoding of the same file, in turns in one
// process: replay_bench VIDEO [ROUNDS]. Prints medians, their ratio and the peak memory.
#include <sys/resource.h>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include <fmt/format.h>
#include <opencv2/videoio.hpp>

#include "analysis/track_cleaning.h"
#include "tests/support/temporary_folder.h"
#include "tracker/replay.h"

namespace {

double seconds_since(std::chrono::steady_clock::time_point begin) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

long decode(const std::string& video) {
  cv::VideoCapture capture(video, cv::CAP_FFMPEG);
  cv::Mat picture;
  long frames = 0;
  while (capture.read(picture)) ++frames;
  return frames;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    fmt::print(stderr, "usage: replay_bench VIDEO [ROUNDS]\n");
    return 2;
  }
  const std::string video = argv[1];
  const int rounds = argc > 2 ? std::stoi(argv[2]) : 5;
  std::vector<double> bare_s;
  std::vector<double> replay_s;
  std::vector<double> ratios;
  long frames = 0;
  for (int round = 0; round < rounds; ++round) {
    auto begin = std::chrono::steady_clock::now();
    frames = decode(video);
    bare_s.push_back(seconds_since(begin));
    const nightswing::test::TemporaryFolder folder;
    begin = std::chrono::steady_clock::now();
    // On a thread of its own, because the replay lowers the priority of its thread for good.
    std::thread([&] {
      static_cast<void>(nightswing::tracker::replay(
          {.source = video, .run = folder / "run", .frame_every_s = 5.0, .quiet = true}));
    }).join();
    replay_s.push_back(seconds_since(begin));
    ratios.push_back(replay_s.back() / bare_s.back());
  }
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  const auto [least, most] = std::ranges::minmax(ratios);
  fmt::print(
      "{} frames, {} rounds, medians: decode {:.2f} s, replay {:.2f} s, ratio {:.3f} ({:.3f} to "
      "{:.3f}), peak memory {:.0f} MB\n",
      frames,
      rounds,
      nightswing::analysis::median_of(bare_s),
      nightswing::analysis::median_of(replay_s),
      nightswing::analysis::median_of(ratios),
      least,
      most,
      static_cast<double>(usage.ru_maxrss) / 1024.0);
  return 0;
}
