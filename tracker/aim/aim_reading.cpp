#include "tracker/aim/aim_reading.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <exception>
#include <utility>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "analysis/quantities/input_error.h"
#include "tracker/frames/mean_picture.h"

namespace nightswing::tracker {
namespace {

constexpr double kRoom_widths = 4.0;
constexpr double kSpot_widths = 8.0;
constexpr double kFullCounts = 250.0;
constexpr double kWeakPeak = 40.0;
constexpr double kNarrow_px = 1.5;
constexpr double kWide_px = 15.0;
constexpr double kLittleRoom_px = 60.0;
constexpr double kBlurred = 0.5;      // of the best sharpness so far
constexpr double kGrain_px = 1.2;     // the noise of single pixels is no texture
constexpr double kMovedCounts = 6.0;  // mean change of a coarse picture: the camera was moved
constexpr std::size_t kPicturesOfScale = MeanPicture::kPictures;
constexpr double kScaleEvery_s = 4.0;

double full_share(const Picture& picture) {
  const cv::Mat full = picture.gray(picture.area()) >= kFullCounts;
  return static_cast<double>(cv::countNonZero(full)) / static_cast<double>(full.total());
}

}  // namespace

SwingRoom room_of(const SpotPosition& spot, cv::Size size) {
  const double own_px = kRoom_widths * spot.width_px;
  const auto room = [&](double to_border_px) { return std::max(0.0, to_border_px - own_px); };
  return {.left_px = room(spot.x_px), .right_px = room(size.width - 1 - spot.x_px)};
}

double sharpness_of(const Picture& picture, const std::optional<SpotPosition>& spot) {
  const cv::Mat luma = picture.gray(picture.area());
  cv::Mat wall(luma.size(), CV_8UC1, cv::Scalar(255));
  if (spot) {
    cv::circle(wall,
               {static_cast<int>(spot->x_px), static_cast<int>(spot->y_px)},
               static_cast<int>(kSpot_widths * spot->width_px) + 1,
               cv::Scalar(0),
               cv::FILLED);
  }
  cv::Mat smooth;
  luma.convertTo(smooth, CV_32F);  // rounding would be grain again
  cv::GaussianBlur(smooth, smooth, {0, 0}, kGrain_px);
  cv::Mat edges;
  cv::Laplacian(smooth, edges, CV_32F);
  cv::Scalar mean;
  cv::Scalar edges_deviation;
  cv::Scalar luma_deviation;
  cv::meanStdDev(edges, mean, edges_deviation, wall);
  cv::meanStdDev(smooth, mean, luma_deviation, wall);
  const double variance = luma_deviation[0] * luma_deviation[0];
  return variance > 0.0 ? edges_deviation[0] * edges_deviation[0] / variance : 0.0;
}

std::vector<std::string> advice_for(const AimReading& reading) {
  std::vector<std::string> advice;
  const auto& position = reading.spot.position;
  switch (reading.spot.state) {
    case SpotState::kDark:
      advice.emplace_back("the picture is dark: raise the exposure, or take the cover off");
      break;
    case SpotState::kLost:
      advice.emplace_back("no spot: is the laser on, and its spot in the picture?");
      break;
    case SpotState::kBlocked:
      advice.emplace_back(
          "a light in the spot's place is not sure to be it: let it swing, cover reflections");
      break;
    case SpotState::kClipped:
      advice.emplace_back("core clipped: lower the exposure or the gain");
      break;
    case SpotState::kFound:
      if (position->peak < kWeakPeak) {
        advice.emplace_back("the spot is weak: raise the exposure, or darken the room");
      }
      break;
  }
  if (position && position->width_px < kNarrow_px) {
    advice.emplace_back("the spot is narrower than 1.5 px: defocus the laser a little");
  }
  if (position && position->width_px > kWide_px) {
    advice.emplace_back("the spot is wide: focus the laser, or move the camera back");
  }
  if (reading.room && std::min(reading.room->left_px, reading.room->right_px) < kLittleRoom_px) {
    advice.emplace_back("the spot is near the border: turn the camera after it");
  }
  if (!reading.mm_per_px) advice.push_back(reading.scale);
  if (reading.sharpness > 0.0 && reading.sharpness < kBlurred) {
    advice.emplace_back("the wall was sharper before: turn the focus back");
  }
  return advice;
}

std::string text_of(const AimReading& reading) {
  std::string text = fmt::format("spot {}", word_for(reading.spot.state));
  if (const auto& p = reading.spot.position) {
    text += fmt::format(" at {:.1f}, {:.1f} px, width {:.1f} px, peak {:.0f}",
                        p->x_px,
                        p->y_px,
                        p->width_px,
                        p->peak);
  }
  if (reading.mm_per_px) text += fmt::format("; {:.3f} mm/px", *reading.mm_per_px);
  if (reading.reading_u_mm)
    text += fmt::format(", one reading +/- {:.3f} mm", *reading.reading_u_mm);
  if (reading.room) {
    text += fmt::format(
        "; room {:.0f} px left, {:.0f} px right", reading.room->left_px, reading.room->right_px);
  }
  text += fmt::format("; sharpness {:.0f} % of the best", 100.0 * reading.sharpness);
  for (const std::string& advice : reading.advice) text += "; " + advice;
  return text;
}

bool AimObserver::has_moved(const cv::Mat& picture) {
  cv::Mat coarse;
  cv::resize(picture, coarse, {32, 18}, 0.0, 0.0, cv::INTER_AREA);
  const bool moved = !small_.empty() && cv::norm(coarse, small_, cv::NORM_L1) /
                                                static_cast<double>(3 * coarse.total()) >
                                            kMovedCounts;
  small_ = coarse;
  return moved;
}

void AimObserver::read_scale(double steady_s) {
  if (reading_.valid() && reading_.wait_for(std::chrono::seconds(0)) == std::future_status::ready) {
    ReadScale read = reading_.get();
    if (!std::exchange(is_of_earlier_view_, false)) {
      read_ = std::move(read);
      next_scale_s_ = steady_s + kScaleEvery_s;
    }
  }
  if (reading_.valid() || steady_s < next_scale_s_ || pictures_.size() < kPicturesOfScale) return;
  MeanPicture mean;
  for (const cv::Mat& picture : pictures_) mean.add(picture);
  reading_ = std::async(std::launch::async, [mean = mean.mean(), scale = scale_]() -> ReadScale {
    try {
      auto map = map_from_picture(mean, "the picture", scale);
      std::string text = describe(map);
      return {std::move(map), std::move(text)};
    } catch (const std::exception& error) {  // whatever it is: the camera is still to be aimed
      return {{}, error.what()};
    }
  });
}

AimReading AimObserver::see(const cv::Mat& picture, double steady_s) {
  if (has_moved(picture)) {
    finder_ = SpotFinder();
    pictures_.clear();
    read_ = {};
    is_of_earlier_view_ = reading_.valid();
    best_sharpness_ = 0.0;
    next_scale_s_ = 0.0;
  }
  pictures_.push_back(picture.clone());
  if (pictures_.size() > kPicturesOfScale) pictures_.pop_front();
  read_scale(steady_s);

  const Picture frame(pictures_.back());
  AimReading reading;
  reading.spot = finder_.measure(frame);
  const auto& spot = reading.spot.position;
  if (spot) reading.room = room_of(*spot, picture.size());
  reading.scale = read_.text.empty() ? "the scale is being read" : read_.text;
  if (read_.map) {
    const calibration::PixelPoint at =
        spot ? calibration::PixelPoint{spot->x_px, spot->y_px}
             : calibration::PixelPoint{0.5 * picture.cols, 0.5 * picture.rows};
    if (!calibration::beyond_horizon(*read_.map, at)) {
      reading.mm_per_px = calibration::mm_per_px(*read_.map, at);
    }
  }
  if (spot && reading.mm_per_px) {
    reading.reading_u_mm = *reading.mm_per_px * std::max(spot->u_x_px, spot->u_y_px);
  }
  reading.saturated_share = full_share(frame);
  const double sharpness = sharpness_of(frame, spot);
  best_sharpness_ = std::max(best_sharpness_, sharpness);
  reading.sharpness = best_sharpness_ > 0.0 ? sharpness / best_sharpness_ : 0.0;
  reading.advice = advice_for(reading);
  return reading;
}

}  // namespace nightswing::tracker
