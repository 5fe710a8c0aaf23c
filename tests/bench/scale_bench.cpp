// How well the printed scale is read: rendered views by pages, tilt and kind of picture, on
// standard output.
//   scale_bench [VIEWS OF EACH ROW (200)] [FIRST ROW] [LAST ROW]   rows from 1 on

#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "tests/calibration/scale/scale_trial.h"

namespace {

using namespace nightswing;

struct Row {
  std::string name;
  int pages;
  double most_tilt_rad;
  int film_frames;
};

constexpr double kDegree_rad = 0.017453292519943295;

void run_row(const Row& row, int views) {
  cv::RNG random(20250117);
  std::vector<test::ScaleOutcome> outcomes;
  double reading_s = 0.0;
  for (int i = 0; i < views; ++i) {
    test::ScaleTrial trial = test::random_trial(random, row.pages, row.most_tilt_rad);
    trial.film_frames = row.film_frames;
    const cv::Mat picture = test::picture_of(trial);
    const auto begin = std::chrono::steady_clock::now();
    outcomes.push_back(test::judge_picture(trial, picture));
    reading_s += std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
    const test::ScaleOutcome& last = outcomes.back();
    if (!last.mapped) {
      std::printf("  view %d refused: %s\n", i, last.message.c_str());
    } else if (!last.message.empty() || std::abs(last.error) > 4.0 * last.u) {
      std::printf("  view %d error %.2e u %.2e: %s\n", i, last.error, last.u, last.message.c_str());
    }
  }
  const test::ScaleStatistics s = test::statistics_of(outcomes);
  std::printf("%-28s %4d/%d %10.2e %10.2e %6.2f %6.2f %8.2f\n",
              row.name.c_str(),
              s.views - s.refused,
              s.views,
              s.error_rms,
              s.error_worst,
              s.pull,
              s.inner_pull,
              reading_s / views);
}

}  // namespace

int main(int count, char** arguments) {
  const int views = count > 1 ? std::atoi(arguments[1]) : 200;
  std::printf("%-28s %8s %10s %10s %6s %6s %8s\n",
              "condition",
              "mapped",
              "error rms",
              "worst",
              "pull",
              "inner",
              "s a view");
  const std::array rows{Row{"one page, to 45 degrees", 1, 45.0 * kDegree_rad, 0},
                        Row{"two pages, to 45 degrees", 2, 45.0 * kDegree_rad, 0},
                        Row{"one page, H.264", 1, 45.0 * kDegree_rad, 8},
                        Row{"two pages, H.264", 2, 45.0 * kDegree_rad, 8}};
  const int first = count > 2 ? std::atoi(arguments[2]) : 1;
  const int last = count > 3 ? std::atoi(arguments[3]) : static_cast<int>(rows.size());
  for (int row = 1; row <= static_cast<int>(rows.size()); ++row) {
    if (row >= first && row <= last) run_row(rows[static_cast<std::size_t>(row - 1)], views);
  }
  return 0;
}
