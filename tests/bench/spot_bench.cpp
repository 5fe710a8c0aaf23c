// How well and how fast the spot is measured: a table of conditions on standard output, 200
// pictures each. `spot_bench PICTURES CONDITION` takes so many, for the conditions that begin so;
// `spot_bench frames FOLDER` writes the 200, their truth and what was measured in them instead, for
// spot_reference.py.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <limits>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

#include <opencv2/imgproc.hpp>

#include "tests/support/spot_trial.h"
#include "tests/support/synthetic_film.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/film_decoder.h"
#include "tracker/spot/spot_finder.h"

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
  for (const double sigma_px : {1.5, 2.5, 6.0, 10.0}) {
    for (const int smear_px : {2, 3}) {  // the bound is that of white noise
      test::SpotTrial smeared = clean(sigma_px, 50);
      smeared.camera.smear_px = smear_px;
      list.push_back({"smeared over " + std::to_string(smear_px) + " px sigma " +
                          std::to_string(sigma_px).substr(0, 4),
                      smeared});
    }
  }
  for (const double ratio : {1.5, 2.0}) {
    for (const int tilt_deg : {0, 20, 45, 90}) {
      test::SpotTrial elliptical = clean(4.0, 50);
      elliptical.spot.sigma_x_px *= std::sqrt(ratio);
      elliptical.spot.sigma_y_px /= std::sqrt(ratio);
      elliptical.spot.tilt_rad = tilt_deg * std::numbers::pi / 180.0;
      list.push_back(
          {"axes 1:" + std::to_string(ratio).substr(0, 3) + " tilted " + std::to_string(tilt_deg),
           elliptical});
    }
  }
  for (const double sigma_px : {2.5, 6.0}) {
    for (const double share : {0.05, 0.2}) {
      test::SpotTrial halo = clean(sigma_px, 50);
      halo.spot.halo_share = share;
      list.push_back({"halo " + std::to_string(share).substr(0, 4) + " sigma " +
                          std::to_string(sigma_px).substr(0, 4),
                      halo});
    }
  }
  return list;
}

/// What comes to the finder: a gray camera's pixels, a colour camera's, or the planes of a film
/// without losses (a red spot is measured in its colours there) or of one with (in luma).
enum class Origin { kGray, kColour, kFilm, kLossyFilm };

tracker::Picture film_picture(const cv::Mat& bgr) {
  cv::Mat planar;
  cv::cvtColor(bgr, planar, cv::COLOR_BGR2YUV_I420);
  tracker::FilmPlanes planes;
  planes.luma = planar.rowRange(0, bgr.rows).clone();
  planes.blue = planar.rowRange(bgr.rows, bgr.rows * 5 / 4).clone().reshape(1, bgr.rows / 2);
  planes.red = planar.rowRange(bgr.rows * 5 / 4, bgr.rows * 3 / 2).clone().reshape(1, bgr.rows / 2);
  return tracker::Picture(planes);
}

/// The same pictures as H.264 keeps them.
std::vector<tracker::Picture> through_h264(const std::vector<cv::Mat>& pictures) {
  const test::TemporaryFolder folder;
  const auto path = folder / "spot.mkv";
  test::FilmPipe film(
      path, pictures.front().size(), 25.0, "-c:v libx264 -crf 23 -bf 2 -pix_fmt yuv420p");
  for (const cv::Mat& picture : pictures) film.write(picture);
  film.close();
  tracker::FilmDecoder decoder(path);
  tracker::DecodedFrame frame;
  std::vector<tracker::Picture> decoded;
  while (decoder.next(frame) == tracker::FilmDecoder::Step::kFrame)
    decoded.push_back(frame.picture);
  if (decoded.size() != pictures.size()) std::printf("a picture is missing in the film\n");
  return decoded;
}

std::vector<tracker::Picture> pictures_of(const std::vector<cv::Mat>& frames, Origin origin) {
  if (origin == Origin::kLossyFilm) return through_h264(frames);
  std::vector<tracker::Picture> pictures;
  for (const cv::Mat& frame : frames) {
    pictures.push_back(origin == Origin::kFilm ? film_picture(frame) : tracker::Picture(frame));
  }
  return pictures;
}

std::vector<cv::Mat> moving_spot(cv::Size size, double sigma_px, Origin origin) {
  std::mt19937_64 random(7);
  const cv::Mat wall = test::plane_light(size, {40, 0.01, 0});
  std::vector<cv::Mat> frames;
  for (int k = 0; k < 24; ++k) {
    const cv::Mat spot = test::spot_light(size, {120, 500.3 + 5.7 * k, 360.2, sigma_px, sigma_px});
    if (origin == Origin::kGray) {
      frames.push_back(test::photograph(wall, spot, {1.0, 0, 0}, random));
    } else {
      frames.push_back(test::photograph_colour({wall, wall, wall + spot}, {1.0, 0, 0}, random));
    }
  }
  return frames;
}

/// Processor time, which other programs on the machine change little.
double microseconds_since(std::clock_t begin) {
  return 1e6 * static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC;
}

/// Processor time of one measure() once the spot is followed and the wall known: mean of 96 frames,
/// the least of eleven such means, since what else runs on the machine only adds.
double microseconds_per_frame(double sigma_px, Origin origin) {
  const std::vector<tracker::Picture> frames =
      pictures_of(moving_spot({1280, 720}, sigma_px, origin), origin);
  tracker::SpotFinder finder;
  constexpr int kSweeps = 4;  // there and back, twice: all that is done every few frames is in
  double least_us = std::numeric_limits<double>::infinity();
  for (int block = 0; block < 12; ++block) {
    double total_us = 0;
    for (int sweep = 0; sweep < kSweeps; ++sweep) {
      for (std::size_t k = 0; k < frames.size(); ++k) {
        const std::size_t index = sweep % 2 == 0 ? k : frames.size() - 1 - k;
        const std::clock_t begin = std::clock();
        const auto measurement = finder.measure(frames[index]);
        total_us += microseconds_since(begin);
        if (!measurement.position) std::printf("not found while timing\n");
      }
    }
    const double mean_us = total_us / (kSweeps * static_cast<double>(frames.size()));
    if (block > 0) least_us = std::min(least_us, mean_us);
  }
  return least_us;
}

/// Mean time of one measure() while there is no spot and the whole frame is searched.
double microseconds_per_lost_frame() {
  const cv::Size size(1280, 720);
  std::mt19937_64 random(8);
  const cv::Mat wall = test::plane_light(size, {40, 0.01, 0});
  const cv::Mat frame = test::photograph(wall, cv::Mat::zeros(size, CV_64FC1), {1.0, 0, 0}, random);
  tracker::SpotFinder finder;
  constexpr int kFrames = 50;
  const std::clock_t begin = std::clock();
  for (int k = 0; k < kFrames; ++k) {
    if (finder.measure(frame).position) std::printf("found where there is nothing\n");
  }
  return microseconds_since(begin) / kFrames;
}

/// For each condition NAME.raw, one byte a pixel, picture after picture, and a line of
/// conditions.csv; for each picture a line of pictures.csv.
void write_frames(const std::filesystem::path& folder) {
  std::filesystem::create_directories(folder);
  std::ofstream conditions_csv(folder / "conditions.csv");
  std::ofstream pictures_csv(folder / "pictures.csv");
  conditions_csv << "condition,file,side_px,bound_px\n";
  pictures_csv << "condition,true_x_px,true_y_px,x_px,y_px,u_x_px,u_y_px\n";
  int number = 0;
  for (const Condition& condition : conditions()) {
    const std::string file = std::to_string(number++) + ".raw";
    std::ofstream raw(folder / file, std::ios::binary);
    int side_px = 0;
    const auto keep = [&](const cv::Mat& picture,
                          const test::SpotTruth& truth,
                          const tracker::SpotMeasurement& measured) {
      side_px = picture.cols;
      raw.write(reinterpret_cast<const char*>(picture.data),
                static_cast<std::streamsize>(picture.total()));
      pictures_csv << condition.name << ',' << truth.x_px << ',' << truth.y_px;
      if (tracker::is_measured(measured.state)) {
        pictures_csv << ',' << measured.position->x_px << ',' << measured.position->y_px << ','
                     << measured.position->u_x_px << ',' << measured.position->u_y_px << '\n';
      } else {
        pictures_csv << ",,,,\n";
      }
    };
    pictures_csv.precision(9);
    const test::SpotTrialResult result = test::run_trial(condition.trial, keep);
    conditions_csv << condition.name << ',' << file << ',' << side_px << ',' << result.bound_px
                   << '\n';
  }
}

/// A line of the accuracy table for each condition whose name begins so.
void print_accuracy(int pictures, const std::string& beginning) {
  std::printf("%-28s %9s %9s %9s %9s %7s %6s %9s\n",
              "condition",
              "bias x px",
              "bias y px",
              "rms px",
              "bound px",
              "ratio",
              "pull",
              "measured");
  for (Condition& condition : conditions()) {
    if (!condition.name.starts_with(beginning)) continue;
    condition.trial.frames = pictures;
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
                pictures);
    std::fflush(stdout);
  }
}

void print_times() {
  cv::setNumThreads(1);  // as the replay does
  for (const double sigma_px : {2.5, 5.0, 10.0}) {
    std::printf("1280 x 720, sigma %4.1f px:", sigma_px);
    for (const auto& [name, origin] : {std::pair("gray", Origin::kGray),
                                       std::pair("colour", Origin::kColour),
                                       std::pair("lossless film", Origin::kFilm),
                                       std::pair("lossy film", Origin::kLossyFilm)}) {
      std::printf(" %5.0f us %s", microseconds_per_frame(sigma_px, origin), name);
      std::fflush(stdout);
    }
    std::printf("\n");
  }
  std::printf("1280 x 720, no spot: %.0f us per frame\n", microseconds_per_lost_frame());
}

}  // namespace

int main(int count, char** words) {
  const std::vector<std::string> arguments(words + 1, words + count);
  if (arguments.size() == 2 && arguments[0] == "frames") {
    write_frames(arguments[1]);
  } else if (arguments.size() == 2) {
    print_accuracy(std::stoi(arguments[0]), arguments[1]);
  } else if (arguments.empty()) {
    print_accuracy(200, "");
    print_times();
  } else {
    std::fprintf(stderr,
                 "usage: spot_bench | spot_bench PICTURES CONDITION | spot_bench frames FOLDER\n");
    return 2;
  }
  return 0;
}
