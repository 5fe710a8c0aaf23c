// How well ordinary rulers are read: rendered views, a table by the size of a division.
//   ruler_bench [VIEWS] [FIRST SEED] [verbose]

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <string>

#include <fmt/format.h>

#include "tests/calibration/ruler/ruler_trial.h"

namespace {

using namespace nightswing;

struct Row {
  const char* name;
  double from_px;
  double to_px;
  int views = 0;
  int refused = 0;
  int wrong = 0;
  int partial = 0;
  double square_error = 0.0;
  double square_pull = 0.0;
  double worst_error = 0.0;

  void add(const test::RulerTrial& trial) {
    ++views;
    if (trial.reading.status != calibration::RulerStatus::kRead) {
      ++refused;
    } else if (trial.wrong_period) {
      ++wrong;
    } else {
      partial += trial.partial ? 1 : 0;
      square_error += trial.scale_error * trial.scale_error;
      square_pull += trial.pull * trial.pull;
      worst_error = std::max(worst_error, std::abs(trial.scale_error));
    }
  }
};

}  // namespace

int main(int argc, char** argv) {
  const int views = argc > 1 ? std::atoi(argv[1]) : 200;
  const int first = argc > 2 ? std::atoi(argv[2]) : 0;
  const bool verbose = argc > 3;
  std::array<Row, 4> rows{Row{"below 3 px", 0.0, 3.0},
                          Row{"3 to 4 px", 3.0, 4.0},
                          Row{"from 4 px", 4.0, 1e9},
                          Row{"all", 0.0, 1e9}};
  double total_ms = 0.0;
  for (int i = first; i < first + views; ++i) {
    const test::RulerView view = test::random_ruler_view(static_cast<std::uint64_t>(i));
    const cv::Mat picture = test::render(view);
    const auto begin = std::chrono::steady_clock::now();
    const calibration::RulerReading reading = calibration::read_ruler(picture);
    total_ms +=
        std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
    const test::RulerTrial trial = test::judge(view, reading);
    for (Row& row : rows) {
      if (view.division_px >= row.from_px && view.division_px < row.to_px) row.add(trial);
    }
    if (verbose) {
      fmt::print(
          "{:4} {:5.2f} px  blur {:4.2f} noise {:3.1f} k1 {:6.3f} {:4.0f} mm  error {:8.1e} pull "
          "{:5.2f} chi2 {:5.2f} rms {:.3f}{}  {}\n",
          i,
          view.division_px,
          view.light.blur_px,
          view.light.noise_dn,
          view.camera.k1,
          view.to_mm - view.from_mm,
          trial.scale_error,
          trial.pull,
          reading.map.reduced_chi2,
          residual_rms_px(reading.map),
          trial.wrong_period ? " WRONG"
          : trial.partial    ? " partial"
                             : "",
          reading.message.substr(0, 70));
    }
  }
  fmt::print("{:12} {:>6} {:>8} {:>6} {:>8} {:>10} {:>10} {:>6}\n",
             "a division",
             "views",
             "refused",
             "wrong",
             "partial",
             "rms error",
             "worst",
             "pull");
  for (const Row& row : rows) {
    const int read = std::max(1, row.views - row.refused - row.wrong);
    fmt::print("{:12} {:6} {:8} {:6} {:8} {:10.2e} {:10.2e} {:6.2f}\n",
               row.name,
               row.views,
               row.refused,
               row.wrong,
               row.partial,
               std::sqrt(row.square_error / read),
               row.worst_error,
               std::sqrt(row.square_pull / read));
  }
  fmt::print("{:.0f} ms a picture\n", total_ms / views);
  return 0;
}
