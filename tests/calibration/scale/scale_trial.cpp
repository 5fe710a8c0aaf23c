#include "tests/calibration/scale/scale_trial.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <stdexcept>

#include <opencv2/imgproc.hpp>

#include "calibration/scale/scale_reader.h"
#include "tests/support/synthetic_film.h"
#include "tests/support/temporary_folder.h"

namespace nightswing::test {
namespace {

using calibration::PixelPoint;
using calibration::WallPoint;

constexpr double kPathHeight_mm = 35.0;
constexpr double kSheetSize_relative = 5e-4;
constexpr double kOffWall_mm = 0.2;

struct Path {
  double from_mm;
  double to_mm;
};

Path path_of(const ScaleTrial& trial, const cv::Matx33d& view) {
  const double length_mm = 40.0 * trial.options.columns;
  double first_mm = length_mm;
  double last_mm = 0.0;
  for (double x_mm = 0.0; x_mm <= length_mm; x_mm += 1.0) {
    const PixelPoint p = seen_at(view, trial.options, {x_mm, kPathHeight_mm});
    const bool visible = p.x_px > 0.0 && p.y_px > 0.0 && p.x_px < trial.options.size.width - 1 &&
                         p.y_px < trial.options.size.height - 1;
    if (!visible) continue;
    first_mm = std::min(first_mm, x_mm);
    last_mm = std::max(last_mm, x_mm);
  }
  const double margin_mm = 0.2 * (last_mm - first_mm);
  return {first_mm + margin_mm, last_mm - margin_mm};
}

double length_mm(const calibration::WallMap& map, PixelPoint from, PixelPoint to) {
  const WallPoint a = calibration::wall_from_pixel(map, from);
  const WallPoint b = calibration::wall_from_pixel(map, to);
  return std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm);
}

/// The mean of the frames of a film of the still light, each with its own noise.
cv::Mat filmed(const cv::Mat& light, const ScaleTrial& trial, cv::RNG& random) {
  const TemporaryFolder folder;
  const std::filesystem::path path = folder / "film.mp4";
  FilmPipe film(path,
                light.size(),
                25.0,
                "-c:v libx264 -preset veryfast -crf 26 -threads 1 -pix_fmt yuv420p");
  for (int i = 0; i < trial.film_frames; ++i) {
    film.write(photograph(light, trial.options.noise_dn, random));
  }
  film.close();
  FilmPictures pictures(path, light.size());
  cv::Mat picture;
  cv::Mat sum = cv::Mat::zeros(light.size(), CV_32F);
  int frames = 0;
  while (pictures.next(picture)) {
    cv::Mat gray;
    cv::cvtColor(picture, gray, cv::COLOR_BGR2GRAY);
    gray.convertTo(gray, CV_32F);
    sum += gray;
    ++frames;
  }
  if (frames != trial.film_frames) throw std::runtime_error("a picture is missing in the film");
  cv::Mat mean;
  sum.convertTo(mean, CV_8U, 1.0 / frames);
  return mean;
}

/// How much farther one sheet's end stands off than the other's beside it.
double standing_off_mm(cv::RNG& random) {
  const double first_mm = std::abs(random.gaussian(kOffWall_mm));
  return std::abs(random.gaussian(kOffWall_mm)) - first_mm;
}

}  // namespace

ScaleTrial random_trial(cv::RNG& random, int pages, double most_tilt_rad) {
  ScaleTrial trial;
  do {
    trial.pose.yaw_rad = random.uniform(-most_tilt_rad, most_tilt_rad);
    trial.pose.pitch_rad = random.uniform(-most_tilt_rad, most_tilt_rad);
  } while (std::cos(trial.pose.yaw_rad) * std::cos(trial.pose.pitch_rad) < std::cos(most_tilt_rad));
  const double length_mm = 240.0 * pages;
  trial.pose.roll_rad = random.uniform(-0.2, 0.2);
  trial.pose.distance_mm = (pages == 1 ? 1.0 : 1.6) * random.uniform(330.0, 420.0);
  trial.pose.aim = {length_mm / 2.0 + random.uniform(-15.0, 15.0), random.uniform(15.0, 35.0)};
  RenderOptions& options = trial.options;
  options.columns = 6 * pages;
  options.blur_px = random.uniform(0.5, 2.0);
  options.noise_dn = random.uniform(1.0, 6.0);
  options.paper_dn = random.uniform(40.0, 250.0);
  options.ink_dn = 0.12 * options.paper_dn;
  options.wall_dn = 0.6 * options.paper_dn;
  options.lens.k1 = random.uniform(-0.12, 0.05);
  options.lens.offset_px = {random.gaussian(10.0), random.gaussian(10.0)};
  options.joint = {.right_mm = random.gaussian(0.3),
                   .up_mm = random.gaussian(0.3),
                   .turn_rad = random.gaussian(0.001)};
  options.seed = random.next();
  if (pages < 2) return trial;
  cv::RNG sheets(options.seed + 11U);
  options.joint.larger = sheets.gaussian(kSheetSize_relative);
  options.joint.near_mm = standing_off_mm(sheets);
  options.joint.far_mm = standing_off_mm(sheets);
  options.eye_mm = eye_of(trial.pose);
  trial.second_is_true = sheets.uniform(0, 2) == 1;
  return trial;
}

ScaleOutcome judge_picture(const ScaleTrial& trial, const cv::Mat& picture) {
  ScaleOutcome outcome;
  const auto reading = calibration::read_printed_scale(picture);
  outcome.message = reading.message;
  if (reading.status != calibration::ScaleStatus::kRead) return outcome;
  const auto fit = calibration::fit_plane_map(
      reading.points, {.width_px = picture.cols, .height_px = picture.rows});
  outcome.message = fit.message;
  if (fit.status != calibration::MapStatus::kFitted) return outcome;
  outcome.mapped = true;
  outcome.map = fit.map;
  const cv::Matx33d view = pixel_from_wall_matrix(trial.pose, trial.options.size);
  const Path path = path_of(trial, view);
  const auto pixel = [&](double share) {
    const double x_mm = path.from_mm + share * (path.to_mm - path.from_mm);
    return seen_at(view, trial.options, {x_mm, kPathHeight_mm});
  };
  const double one_mm = trial.second_is_true ? 1.0 + trial.options.joint.larger : 1.0;
  const double true_mm = (path.to_mm - path.from_mm) / one_mm;
  const double whole = length_mm(fit.map, pixel(0.0), pixel(1.0)) / true_mm;
  const double inner = length_mm(fit.map, pixel(0.15), pixel(0.45)) / (0.3 * true_mm);
  outcome.error = whole - 1.0;
  outcome.inner_error = inner / whole - 1.0;
  const auto stated =
      calibration::path_uncertainty(fit.map, pixel(0.0), pixel(1.0), pixel(0.15), pixel(0.45));
  outcome.u = stated.scale_relative_u;
  outcome.inner_u = stated.nonlinearity_relative_u;
  outcome.correlation = stated.correlation;
  return outcome;
}

cv::Mat picture_of(const ScaleTrial& trial) {
  const cv::Matx33d view = pixel_from_wall_matrix(trial.pose, trial.options.size);
  if (trial.film_frames == 0) return render_scale(view, trial.options);
  cv::RNG random(trial.options.seed + 5U);
  return filmed(noiseless_scale(view, trial.options), trial, random);
}

ScaleOutcome run_trial(const ScaleTrial& trial) {
  return judge_picture(trial, picture_of(trial));
}

ScaleStatistics statistics_of(const std::vector<ScaleOutcome>& outcomes) {
  ScaleStatistics sum;
  for (const ScaleOutcome& outcome : outcomes) {
    ++sum.views;
    if (!outcome.mapped) {
      ++sum.refused;
      continue;
    }
    sum.error_rms += outcome.error * outcome.error;
    sum.error_worst = std::max(sum.error_worst, std::abs(outcome.error));
    sum.pull += std::pow(outcome.error / outcome.u, 2);
    sum.inner_pull += std::pow(outcome.inner_error / outcome.inner_u, 2);
  }
  const double mapped = std::max(1, sum.views - sum.refused);
  sum.error_rms = std::sqrt(sum.error_rms / mapped);
  sum.pull = std::sqrt(sum.pull / mapped);
  sum.inner_pull = std::sqrt(sum.inner_pull / mapped);
  return sum;
}

}  // namespace nightswing::test
