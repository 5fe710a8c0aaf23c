#pragma once

#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>

#include <opencv2/core.hpp>

#include "tracker/frames/film_colours.h"

namespace nightswing::tracker {

// Luma of an RGB picture in steps of 1/32768 (Rec. ITU-R BT.601-7, 0.299 R + 0.587 G + 0.114 B), as
// OpenCV rounds the shares, so that a pixel by itself is the same as in a rectangle.
inline constexpr int kRedShare = 9798;
inline constexpr int kGreenShare = 19235;
inline constexpr int kBlueShare = 3735;
inline constexpr int kShareBits = 15;

/// Luma of one BGR pixel, rounded to the nearest.
[[nodiscard]] inline std::uint8_t luma_of(const cv::Vec3b& bgr) {
  const int sum = kBlueShare * bgr[0] + kGreenShare * bgr[1] + kRedShare * bgr[2];
  return static_cast<std::uint8_t>((sum + (1 << (kShareBits - 1))) >> kShareBits);
}

/// A picture to measure in: luma and colours of what is asked for; only that is converted. A value
/// that is cheap to copy; copies share the pixels, which nobody changes. What it gives out may
/// share them too and is valid as long as one copy lives.
///
/// Gray is luma, which has the full resolution and is never displaced, unless another sum of the
/// colours is asked for (ColourPlane).
class Picture {
 public:
  Picture() = default;

  /// A camera's or a photograph's picture: 8-bit BGR or gray. The pixels are shared.
  /// throws std::invalid_argument if it is of another type.
  Picture(const cv::Mat& pixels);  // implicit: a picture is a picture

  /// throws std::invalid_argument if the planes do not fit together.
  explicit Picture(FilmPlanes planes);

  [[nodiscard]] bool empty() const { return bgr_.empty() && planes_.luma.empty(); }
  [[nodiscard]] cv::Size size() const { return bgr_.empty() ? planes_.luma.size() : bgr_.size(); }
  [[nodiscard]] cv::Rect area() const { return {cv::Point(0, 0), size()}; }
  [[nodiscard]] bool has_colour() const { return !bgr_.empty() || !planes_.blue.empty(); }

  /// The same picture with another gray; of one without colour, itself.
  [[nodiscard]] Picture in_gray_of(const GrayShares& shares) const;

  /// Gray, 0 (black) to 255 (white), CV_8UC1, of a rectangle inside the picture. Shares the pixels
  /// where they are stored so.
  [[nodiscard]] cv::Mat gray(const cv::Rect& area) const;

  /// The same of one pixel.
  [[nodiscard]] std::uint8_t gray_at(int column, int row) const {
    if (!bgr_.empty()) {
      const auto& p = bgr_.at<cv::Vec3b>(row, column);
      return shares_ ? shares_->gray(p[0], p[1], p[2]) : luma_of(p);
    }
    if (film_gray_) return film_gray_at(planes_, *film_gray_, column, row);
    const std::uint8_t stored = planes_.luma.at<std::uint8_t>(row, column);
    return planes_.full_range ? stored : full_range_of(stored);
  }

  /// Luma of the whole picture as it is stored: black may be 16, white 235. For what does not mind
  /// a gain and an offset. Shares the pixels; those of a BGR picture are converted once for all
  /// copies.
  [[nodiscard]] const cv::Mat& stored_luma() const;

  /// An upper bound of all colours (0 to 255) in a rectangle inside the picture, which is quicker
  /// to tell than the colours; 255 where there is no quicker way.
  [[nodiscard]] int brightness_limit(const cv::Rect& area) const {
    return bgr_.empty() && !planes_.blue.empty() ? film_brightness_limit(planes_, area)
                                                 : kFullSteps;
  }

  /// Colours, CV_8UC3, of a rectangle inside the picture. Without colour: three times gray.
  [[nodiscard]] cv::Mat bgr(const cv::Rect& area) const;
  [[nodiscard]] cv::Mat bgr() const { return bgr(area()); }

 private:
  /// The whole luma of a picture that came as BGR, made when it is first asked for.
  struct ConvertedLuma {
    std::once_flag once;
    cv::Mat luma;
  };

  FilmPlanes planes_;  // without luma if the picture came as BGR
  cv::Mat bgr_;        // of a picture that came as BGR
  // Only where there is colour; else gray is luma.
  std::optional<GrayShares> shares_;   // of a picture that came as BGR,
  std::optional<FilmGray> film_gray_;  // of a film
  std::shared_ptr<ConvertedLuma> converted_;
};

}  // namespace nightswing::tracker
