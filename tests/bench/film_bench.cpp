// How long a film of a run takes beside the decoding of its video and the encoding of as many
// frames of that size alone, in turns: film_bench RUN [ROUNDS]. Prints medians and their ratio.
#include <algorithm>
#include <chrono>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "analysis/quantities/median.h"
#include "tests/support/temporary_folder.h"
#include "tracker/film/film.h"
#include "tracker/film/film_writer.h"
#include "tracker/frames/frame_pump.h"
#include "tracker/frames/video_source.h"

namespace {

using nightswing::tracker::RunFolder;

constexpr double kSeconds = 60.0;

double seconds_since(std::chrono::steady_clock::time_point begin) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

/// Every frame decoded; those that the film shows enlarged to its size and encoded.
void decode_and_encode(const RunFolder& run, const std::filesystem::path& output) {
  const auto info = nightswing::tracker::read_run_info(run);
  nightswing::tracker::VideoSource source(info.source, {.frame_every_s = 5.0, .whole_s = {}});
  const long frames = source.declared_frames().value_or(3000);
  nightswing::tracker::FramePump pump(source);
  nightswing::tracker::FilmWriter writer(output, {.width_px = 1920, .height_px = 1080});
  const long wanted = std::lround(30.0 * kSeconds);
  nightswing::tracker::Frame frame;
  cv::Mat large;
  cv::Mat four;
  long written = 0;
  for (long k = 0; pump.next(frame); ++k) {
    if (written * frames > k * wanted) continue;
    cv::resize(frame.picture.bgr(), large, {1920, 1080});
    cv::cvtColor(large, four, cv::COLOR_BGR2BGRA);
    for (; written * frames <= k * wanted && written < wanted; ++written) writer.write(four);
  }
  for (; written < wanted; ++written) writer.write(four);
  writer.finish();
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    fmt::print(stderr, "usage: film_bench RUN [ROUNDS]\n");
    return 2;
  }
  const RunFolder run{argv[1]};
  const int rounds = argc > 2 ? std::stoi(argv[2]) : 3;
  const nightswing::test::TemporaryFolder folder;
  std::vector<double> bare_s;
  std::vector<double> film_s;
  for (int round = 0; round < rounds; ++round) {
    auto begin = std::chrono::steady_clock::now();
    decode_and_encode(run, folder / "bare.mp4");
    bare_s.push_back(seconds_since(begin));
    begin = std::chrono::steady_clock::now();
    static_cast<void>(nightswing::tracker::make_film({.run = run,
                                                      .seconds = kSeconds,
                                                      .captions = {},
                                                      .output = folder / "film.mp4",
                                                      .quiet = true}));
    film_s.push_back(seconds_since(begin));
  }
  const double bare = nightswing::analysis::median_of(bare_s);
  const double film = nightswing::analysis::median_of(film_s);
  fmt::print("{} rounds, medians: decode and encode {:.1f} s, film {:.1f} s, ratio {:.2f}\n",
             rounds,
             bare,
             film,
             film / bare);
  return 0;
}
