// How well and how fast the spot is measured: a table of conditions on standard output.

#include <chrono>
#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

#include "tests/support/spot_trial.h"
#include "tracker/spot_finder.h"

namespace {

using namespace nightswing;

struct Condition {
  std::string name;
  test::SpotTrial trial;
};

/// Peak above the wall is `snr` times the noise of the wall (read noise 2 counts).
test::SpotTrial clean(double sigma_px, double snr) {
  test::SpotTrial trial;
  trial.spot = {2.0 * snr, 0, 0, sigma_px, sigma_px};
  trial.camera = {2.0, 0, 0};
  return trial;
}

/// Peak of a spot of which `share` of the area above a tenth of the visible peak is clipped.
double clipped_peak(double share, double room) {
  // Area inside the contour c is proportional to log(peak / c): log(peak / room) is `share` of
  // log(peak / (0.1 room)).
  return room * std::exp(share * std::log(10.0) / (1.0 - share));
}

std::vector<Condition> conditions() {
  std::vector<Condition> list;
  for (const double sigma_px : {1.0, 1.5, 2.5, 6.0, 10.0, 15.0}) {
    for (const double snr : {5.0, 10.0, 20.0, 100.0}) {
      list.push_back({"clean sigma " + std::to_string(sigma_px).substr(0, 4) + " snr " +
                          std::to_string(static_cast<int>(snr)),
                      clean(sigma_px, snr)});
    }
  }
  for (const double sigma_px : {1.5, 2.5, 6.0, 10.0}) {
    test::SpotTrial shot = clean(sigma_px, 80);
    shot.camera = {1.0, 10.0, 0};
    list.push_back({"shot noise sigma " + std::to_string(sigma_px).substr(0, 4), shot});
  }
  for (const double sigma_px : {2.5, 6.0, 10.0}) {
    for (const double share : {0.1, 0.4}) {
      test::SpotTrial clipped = clean(sigma_px, 1);
      clipped.spot.peak = clipped_peak(share, 215);
      list.push_back({"clipped " + std::to_string(static_cast<int>(100 * share)) + " % sigma " +
                          std::to_string(sigma_px).substr(0, 4),
                      clipped});
    }
  }
  for (const double sigma_px : {2.5, 6.0, 10.0}) {
    test::SpotTrial slope = clean(sigma_px, 80);
    slope.plane = {60, 0.05 * 160 / sigma_px, 0};
    if (sigma_px > 9) slope.plane.slope_x_per_px = 0.5;
    list.push_back({"slope sigma " + std::to_string(sigma_px).substr(0, 4), slope});
  }
  for (const double sigma_px : {2.5, 6.0, 10.0}) {
    test::SpotTrial speckle = clean(sigma_px, 50);
    speckle.camera = {1.0, 0, 0.3};
    list.push_back({"speckle 0.3 sigma " + std::to_string(sigma_px).substr(0, 4), speckle});
  }
  return list;
}

/// Mean time of one measure() once the spot is followed and the wall known.
double microseconds_per_frame(double sigma_px, bool colour) {
  const cv::Size size(1280, 720);
  std::mt19937_64 random(7);
  const cv::Mat wall = test::plane_light(size, {40, 0.01, 0});
  std::vector<cv::Mat> frames;
  for (int k = 0; k < 24; ++k) {
    const cv::Mat spot = test::spot_light(size, {120, 500.3 + 5.7 * k, 360.2, sigma_px, sigma_px});
    if (colour) {
      frames.push_back(test::photograph_colour({wall, wall, wall + spot}, {1.0, 0, 0}, random));
    } else {
      frames.push_back(test::photograph(wall, spot, {1.0, 0, 0}, random));
    }
  }
  tracker::SpotFinder finder;
  double total_us = 0;
  int timed = 0;
  for (int round = 0; round < 40; ++round) {
    for (std::size_t k = 0; k < frames.size(); ++k) {
      const std::size_t index = round % 2 == 0 ? k : frames.size() - 1 - k;
      const auto begin = std::chrono::steady_clock::now();
      const auto measurement = finder.measure(frames[index]);
      const auto end = std::chrono::steady_clock::now();
      if (!measurement.position) std::printf("not found while timing\n");
      if (round < 2) continue;
      total_us += std::chrono::duration<double, std::micro>(end - begin).count();
      ++timed;
    }
  }
  return total_us / timed;
}

/// Mean time of one measure() while there is no spot and the whole frame is searched.
double microseconds_per_lost_frame() {
  const cv::Size size(1280, 720);
  std::mt19937_64 random(8);
  const cv::Mat wall = test::plane_light(size, {40, 0.01, 0});
  const cv::Mat frame = test::photograph(wall, cv::Mat::zeros(size, CV_64FC1), {1.0, 0, 0}, random);
  tracker::SpotFinder finder;
  constexpr int kFrames = 50;
  const auto begin = std::chrono::steady_clock::now();
  for (int k = 0; k < kFrames; ++k) {
    if (finder.measure(frame).position) std::printf("found where there is nothing\n");
  }
  const auto end = std::chrono::steady_clock::now();
  return std::chrono::duration<double, std::micro>(end - begin).count() / kFrames;
}

}  // namespace

int main() {
  std::printf("%-28s %9s %9s %9s %9s %7s %6s %9s\n",
              "condition",
              "bias x px",
              "bias y px",
              "rms px",
              "bound px",
              "ratio",
              "pull",
              "measured");
  for (const Condition& condition : conditions()) {
    const test::SpotTrialResult r = test::run_trial(condition.trial);
    std::printf("%-28s %9.4f %9.4f %9.4f %9.4f %7.3f %6.2f %5d/%d\n",
                condition.name.c_str(),
                r.bias_x_px,
                r.bias_y_px,
                r.rms_px,
                r.bound_px,
                r.ratio(),
                r.pull_width,
                r.measured,
                condition.trial.frames);
  }
  for (const double sigma_px : {2.5, 5.0, 10.0}) {
    std::printf("1280 x 720, sigma %4.1f px: %5.0f us gray, %5.0f us colour per frame\n",
                sigma_px,
                microseconds_per_frame(sigma_px, false),
                microseconds_per_frame(sigma_px, true));
  }
  std::printf("1280 x 720, no spot: %.0f us per frame\n", microseconds_per_lost_frame());
  return 0;
}
