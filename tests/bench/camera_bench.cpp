// How well and how fast frames are registered to the first ones, on a rendered night with a moving
// camera: camera_bench VIDEO TRUTH_TRACK TRUTH_TRACK_STILL [EVERY]. The truths are of the same
// night with and without the motion of the camera, so that their pixels differ by it alone. Prints
// the error at the spot's place, where it matters; with CAMERA_BENCH_ALL set, of each registration.
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <optional>
#include <sstream>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <opencv2/core.hpp>
#include <opencv2/videoio.hpp>

#include "calibration/motion/frame_registration.h"

namespace {

using namespace nightswing::calibration;

constexpr std::size_t kReferenceFrames = 8;
constexpr double kSpotRadius_px = 55.0;

std::vector<PixelPoint> pixels_of(const std::string& path) {
  std::vector<PixelPoint> pixels;
  std::ifstream file(path);
  std::string line;
  std::getline(file, line);
  while (std::getline(file, line)) {
    std::vector<double> fields;
    std::istringstream words(line);
    for (std::string field; std::getline(words, field, ',');) fields.push_back(std::stod(field));
    pixels.push_back({fields.at(5), fields.at(6)});
  }
  return pixels;
}

double seconds_since(std::chrono::steady_clock::time_point begin) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

/// The mean of the first frames as the program makes it, and where the spot was in them.
FrameRegistration registration_of(cv::VideoCapture& capture, const std::vector<PixelPoint>& spot) {
  cv::Mat picture;
  cv::Mat sum;
  std::vector<IgnoredCircle> circles;
  for (std::size_t k = 0; k < kReferenceFrames && capture.read(picture); ++k) {
    cv::Mat values;
    picture.convertTo(values, CV_32F);
    if (sum.empty()) sum = cv::Mat::zeros(values.size(), values.type());
    sum += values;
    circles.push_back({spot.at(k), kSpotRadius_px});
  }
  sum.convertTo(picture, CV_8U, 1.0 / static_cast<double>(kReferenceFrames));
  return FrameRegistration(picture, circles);
}

struct Figures {
  std::vector<double> x_px;
  std::vector<double> y_px;
  double stated_u_px = 0.0;
  double find_s = 0.0;
  double glance_s = 0.0;
  long glances = 0;

  void print() const {
    cv::Scalar mean_x;
    cv::Scalar mean_y;
    cv::Scalar scatter_x;
    cv::Scalar scatter_y;
    cv::meanStdDev(x_px, mean_x, scatter_x);
    cv::meanStdDev(y_px, mean_y, scatter_y);
    const auto count = static_cast<double>(x_px.size());
    fmt::print(
        "{} registrations; error at the spot: x {:+.4f} mean, {:.4f} scatter; y {:+.4f}, {:.4f} "
        "px; stated u {:.4f} px\n{:.3f} ms a registration, {:.4f} ms a glance\n",
        x_px.size(),
        mean_x[0],
        scatter_x[0],
        mean_y[0],
        scatter_y[0],
        stated_u_px / count,
        1e3 * find_s / count,
        1e3 * glance_s / static_cast<double>(glances));
  }
};

}  // namespace

int main(int argc, char** argv) {
  if (argc < 4) {
    fmt::print(stderr, "usage: camera_bench VIDEO TRUTH_TRACK TRUTH_TRACK_STILL [EVERY]\n");
    return 2;
  }
  const auto moved = pixels_of(argv[2]);
  const auto still = pixels_of(argv[3]);
  const std::size_t every = argc > 4 ? std::stoul(argv[4]) : 25;
  const bool print_all = std::getenv("CAMERA_BENCH_ALL") != nullptr;
  cv::VideoCapture capture(argv[1], cv::CAP_FFMPEG);
  FrameRegistration registration = registration_of(capture, moved);
  const PixelPoint centre = picture_centre(registration.frame());
  fmt::print("{} patches\n", registration.patches());
  Figures figures;
  CameraMotion motion;
  cv::Mat picture;
  for (std::size_t k = kReferenceFrames; capture.read(picture) && k < moved.size(); ++k) {
    const std::vector<IgnoredCircle> spot{{moved[k], kSpotRadius_px}};
    auto begin = std::chrono::steady_clock::now();
    static_cast<void>(registration.glance(picture, spot, motion));
    figures.glance_s += seconds_since(begin);
    ++figures.glances;
    if (k % every != 0) continue;
    begin = std::chrono::steady_clock::now();
    const Registration found = registration.find(picture, spot, motion);
    figures.find_s += seconds_since(begin);
    if (found.status != RegistrationStatus::kRegistered) {
      fmt::print("frame {}: {}\n",
                 k,
                 found.status == RegistrationStatus::kTooFewPatches ? "too few patches"
                                                                    : "patches disagree");
      continue;
    }
    motion = found.motion;
    const PixelPoint back = reference_from_moved(motion, centre, moved[k]);
    figures.x_px.push_back(back.x_px - still[k].x_px);
    figures.y_px.push_back(back.y_px - still[k].y_px);
    figures.stated_u_px += motion_u_px(found.covariance, centre, back);
    if (print_all) {
      fmt::print("{} {:.4f} {:.4f} shift {:.4f} {:.4f} rotation {:.6f} zoom {:.6f} u {:.4f} {}\n",
                 k,
                 figures.x_px.back(),
                 figures.y_px.back(),
                 motion.shift_x_px,
                 motion.shift_y_px,
                 motion.rotation_rad,
                 motion.zoom,
                 found.u_shift_px,
                 found.patches);
    }
  }
  figures.print();
  return 0;
}
