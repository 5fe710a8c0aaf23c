// How long the replay of a video takes beside the bare decoding of the same file by OpenCV, in
// turns: replay_bench VIDEO [ROUNDS]. Each runs in a process of its own, so that its processor time
// and its memory are its own. Prints medians and the ratio.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <functional>
#include <stdexcept>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <opencv2/videoio.hpp>

#include "analysis/quantities/median.h"
#include "tests/support/temporary_folder.h"
#include "tracker/replay.h"

using nightswing::analysis::median_of;

namespace {

struct Cost {
  double wall_s;
  double processor_s;
  double memory_mb;
};

/// What the work costs in a process of its own.
Cost cost_of(const std::function<void()>& work) {
  const auto begin = std::chrono::steady_clock::now();
  const pid_t child = fork();
  if (child < 0) throw std::runtime_error("cannot start a process");
  if (child == 0) {
    work();
    _exit(0);
  }
  int status = 0;
  rusage usage{};
  if (wait4(child, &status, 0, &usage) != child || status != 0) {
    throw std::runtime_error("the process failed");
  }
  const auto end = std::chrono::steady_clock::now();
  const auto seconds = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + 1e-6 * static_cast<double>(time.tv_usec);
  };
  return {.wall_s = std::chrono::duration<double>(end - begin).count(),
          .processor_s = seconds(usage.ru_utime) + seconds(usage.ru_stime),
          .memory_mb = static_cast<double>(usage.ru_maxrss) / 1024.0};
}

void decode(const std::string& video) {
  cv::VideoCapture capture(video, cv::CAP_FFMPEG);
  cv::Mat picture;
  while (capture.read(picture)) {
  }
}

void replay(const std::string& video, const std::filesystem::path& run) {
  static_cast<void>(nightswing::tracker::replay(
      {.source = video, .run = run, .frame_every_s = 5.0, .quiet = true}));
}

double median_over(const std::vector<Cost>& costs, double Cost::*which) {
  std::vector<double> values;
  values.reserve(costs.size());
  for (const Cost& cost : costs) values.push_back(cost.*which);
  return median_of(values);
}

void print(const char* name, const std::vector<Cost>& costs) {
  fmt::print("{}: {:.2f} s, processor time {:.2f} s, peak memory {:.0f} MB\n",
             name,
             median_over(costs, &Cost::wall_s),
             median_over(costs, &Cost::processor_s),
             median_over(costs, &Cost::memory_mb));
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    fmt::print(stderr, "usage: replay_bench VIDEO [ROUNDS]\n");
    return 2;
  }
  const std::string video = argv[1];
  const int rounds = argc > 2 ? std::stoi(argv[2]) : 5;
  std::vector<Cost> bare;
  std::vector<Cost> replays;
  std::vector<double> ratios;
  for (int round = 0; round < rounds; ++round) {
    const nightswing::test::TemporaryFolder folder;
    bare.push_back(cost_of([&] { decode(video); }));
    replays.push_back(cost_of([&] { replay(video, folder / "run"); }));
    ratios.push_back(replays.back().wall_s / bare.back().wall_s);
  }
  print("decoding by OpenCV", bare);
  print("replay", replays);
  const auto [least, most] = std::ranges::minmax(ratios);
  fmt::print("ratio of {} rounds: {:.3f} ({:.3f} to {:.3f}), of the processor times {:.3f}\n",
             rounds,
             median_of(ratios),
             least,
             most,
             median_over(replays, &Cost::processor_s) / median_over(bare, &Cost::processor_s));
  return 0;
}
