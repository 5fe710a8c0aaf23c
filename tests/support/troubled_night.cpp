#include "tests/support/troubled_night.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <utility>

#include <opencv2/imgproc.hpp>

#include "tests/support/synthetic_film.h"
#include "tests/support/synthetic_spot.h"
#include "tests/support/temporary_folder.h"
#include "tracker/frames/film_decoder.h"
#include "tracker/spot/spot_finder.h"

namespace nightswing::test {

const cv::Size kSceneSize(480, 270);

namespace {

constexpr double kNoise_counts = 1.5;

/// Light that falls off to one side, grain of the paint, and printed marks below the path.
cv::Mat quiet_wall() {
  cv::Mat wall(kSceneSize, CV_32FC1);
  for (int y = 0; y < wall.rows; ++y) {
    for (int x = 0; x < wall.cols; ++x)
      wall.at<float>(y, x) = 45.0F + 0.03F * static_cast<float>(x);
  }
  cv::RNG grain(99);
  cv::Mat texture(kSceneSize, CV_32FC1);
  grain.fill(texture, cv::RNG::NORMAL, 0.0, 6.0);
  cv::GaussianBlur(texture, texture, {5, 5}, 1.2);
  wall += texture;
  for (int k = 0; k < 90; ++k) {
    cv::rectangle(wall, cv::Rect(15 + 5 * k, 170, 1, k % 10 == 0 ? 20 : 10), cv::Scalar(15), -1);
  }
  for (int k = 0; k < 9; ++k) {
    cv::rectangle(wall, cv::Rect(20 + 50 * k, 60, 26, 26), cv::Scalar(14), -1);
    cv::rectangle(wall, cv::Rect(28 + 50 * k, 66, 6, 6), cv::Scalar(70), -1);
  }
  return wall;
}

cv::Mat photograph(ScenePicture& picture, cv::RNG& noise) {
  add_light(picture.light,
            picture.spot_share * kSceneSpotPeak,
            picture.spot_x_px,
            picture.spot_y_px,
            kSceneSpotSigma_px);
  cv::Mat grain(kSceneSize, CV_32FC1);
  noise.fill(grain, cv::RNG::NORMAL, 0.0, kNoise_counts);
  cv::Mat counts;
  cv::Mat(picture.gain * picture.light + grain).convertTo(counts, CV_8U);
  return counts;
}

struct MadePicture {
  ScenePicture truth;
  cv::Mat counts;
};

class PictureMaker {
 public:
  explicit PictureMaker(const TroubledNight& night)
      : night_(night), random_(night.seed), noise_(night.seed + 1000), wall_(quiet_wall()) {}

  MadePicture make(int frame) {
    ScenePicture picture{.light = wall_.clone()};
    const double phase = (frame + night_.first_phase) / night_.period_frames;
    picture.spot_x_px =
        240.3 + night_.amplitude_px * std::sin(2.0 * std::numbers::pi * phase + 0.4);
    picture.spot_y_px = 130.2 + 0.02 * picture.spot_x_px;
    for (const Trouble& trouble : night_.troubles) trouble(frame, picture, random_);
    const double margin_px = 3.0 * kSceneSpotSigma_px;
    picture.visible = picture.visible && picture.spot_share > 0.5 &&
                      picture.spot_x_px > margin_px &&
                      picture.spot_x_px < kSceneSize.width - 1 - margin_px;
    cv::Mat counts = photograph(picture, noise_);
    return {std::move(picture), std::move(counts)};
  }

 private:
  const TroubledNight& night_;
  std::mt19937_64 random_;
  cv::RNG noise_;
  cv::Mat wall_;
};

class Judge {
 public:
  void see(int frame, const ScenePicture& truth, const tracker::SpotMeasurement& spot) {
    const bool measured = tracker::is_measured(spot.state);
    outcome_.visible += truth.visible ? 1 : 0;
    outcome_.visible_measured += truth.visible && measured ? 1 : 0;
    if (truth.visible && !measured) outcome_.failures += ' ' + std::to_string(frame);
    if (!measured) return;
    ++outcome_.measured;
    const double error_x_px = spot.position->x_px - truth.spot_x_px;
    const double error_y_px = spot.position->y_px - truth.spot_y_px;
    const auto is_off = [](double error_px, double u_px) {
      return std::abs(error_px) > std::max(5.0 * u_px, 0.3);
    };
    const bool wrong = truth.spot_share <= 0.0 || is_off(error_x_px, spot.position->u_x_px) ||
                       is_off(error_y_px, spot.position->u_y_px);
    wrong_in_a_row_ = wrong ? wrong_in_a_row_ + 1 : 0;
    outcome_.longest_wrong = std::max(outcome_.longest_wrong, wrong_in_a_row_);
    if (wrong) {
      ++outcome_.wrong;
      outcome_.worst_px = std::max(outcome_.worst_px, std::hypot(error_x_px, error_y_px));
      outcome_.failures += " !" + std::to_string(frame);
    } else {
      squares_ += error_x_px * error_x_px;
      pulls_ += std::pow(error_x_px / spot.position->u_x_px, 2);
    }
  }

  [[nodiscard]] NightOutcome outcome() const {
    NightOutcome outcome = outcome_;
    const int right = std::max(1, outcome.measured - outcome.wrong);
    outcome.rms_px = std::sqrt(squares_ / right);
    outcome.pull_width = std::sqrt(pulls_ / right);
    return outcome;
  }

 private:
  NightOutcome outcome_;
  int wrong_in_a_row_ = 0;
  double squares_ = 0.0;
  double pulls_ = 0.0;
};

}  // namespace

void add_light(cv::Mat& light, double peak, double x_px, double y_px, double sigma_px) {
  if (peak <= 0.0) return;
  const cv::Rect area = square_within({x_px, y_px}, 6.0 * sigma_px, light.size());
  const auto pixel_mean = [&](double offset_px) {  // of the Gaussian over a pixel, times its peak
    const double scale = sigma_px * std::numbers::sqrt2;
    return sigma_px * std::sqrt(std::numbers::pi / 2.0) *
           (std::erf((offset_px + 0.5) / scale) - std::erf((offset_px - 0.5) / scale));
  };
  std::vector<double> along_x;
  for (int x = area.x; x < area.x + area.width; ++x) along_x.push_back(pixel_mean(x - x_px));
  for (int y = area.y; y < area.y + area.height; ++y) {
    const double row = peak * pixel_mean(y - y_px);
    auto* pixel = light.ptr<float>(y) + area.x;
    for (const double mean : along_x) *pixel++ += static_cast<float>(row * mean);
  }
}

NightOutcome run_night(const TroubledNight& night) {
  PictureMaker maker(night);
  tracker::SpotFinder finder;
  Judge judge;
  if (night.encoding.empty()) {
    for (int k = 0; k < night.frames; ++k) {
      const auto [truth, counts] = maker.make(k);
      judge.see(k, truth, finder.measure(counts));
    }
    return judge.outcome();
  }
  const TemporaryFolder folder;
  const auto path = folder / "night.mkv";
  std::vector<ScenePicture> truths;
  FilmPipe film(path, kSceneSize, 25.0, night.encoding);
  for (int k = 0; k < night.frames; ++k) {
    auto [truth, counts] = maker.make(k);
    truth.light.release();
    truths.push_back(truth);
    film.write(counts);
  }
  film.close();
  tracker::FilmDecoder decoder(path);
  tracker::DecodedFrame frame;
  for (int k = 0; k < night.frames; ++k) {
    if (decoder.next(frame) != tracker::FilmDecoder::Step::kFrame) {
      throw std::runtime_error("a picture is missing in the film");
    }
    judge.see(k, truths[static_cast<std::size_t>(k)], finder.measure(frame.picture));
  }
  return judge.outcome();
}

}  // namespace nightswing::test
