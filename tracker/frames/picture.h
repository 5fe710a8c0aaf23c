#pragma once

#include <algorithm>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>

#include <opencv2/core.hpp>

namespace nightswing::tracker {

/// The planes of a film's frame as its decoder holds them, and how their numbers stand for colours.
/// With luma Y = red_share R + (1 - red_share - blue_share) G + blue_share B, blue and red are
/// (B - Y)/(2 - 2 blue_share) and (R - Y)/(2 - 2 red_share), around 128 (Rec. ITU-R BT.601,
/// BT.709).
struct FilmPlanes {
  cv::Mat luma;                        ///< CV_8UC1
  cv::Mat blue;                        ///< CV_8UC1, as fine as luma or coarser; empty: no colour
  cv::Mat red;                         ///< like blue
  bool full_range = false;             ///< 0 to 255; else luma 16 to 235, the others 16 to 240
  double red_share = 0.299;            ///< BT.601
  double blue_share = 0.114;           ///< BT.601
  int columns_each = 2;                ///< pixels across for one value of blue and red
  int rows_each = 2;                   ///< and down
  double first_x_px = 0.0;             ///< where in the picture the first value of blue and red is
  double first_y_px = 0.5;             ///< (chroma siting)
  std::shared_ptr<const void> memory;  ///< what keeps the planes in memory, if they do not
};

// Quantization levels of 8 bits, Rec. ITU-R BT.601-7.
inline constexpr int kBlackLuma = 16;
inline constexpr int kLumaSteps = 219;    // from black to white
inline constexpr int kColourSteps = 224;  // from one end to the other
inline constexpr int kFullSteps = 255;

/// Luma of limited range as 0 to 255, rounded to the nearest.
[[nodiscard]] constexpr std::uint8_t full_range_of(std::uint8_t stored) {
  const int steps = std::clamp(stored - kBlackLuma, 0, kLumaSteps);
  return static_cast<std::uint8_t>((steps * kFullSteps + kLumaSteps / 2) / kLumaSteps);
}

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

/// What each colour adds to a gray that is not luma, in steps of 1/256: 256 together, so that white
/// keeps its counts.
struct GrayShares {
  std::uint16_t blue;
  std::uint16_t green;
  std::uint16_t red;

  /// Rounded to the nearest.
  [[nodiscard]] std::uint8_t gray(std::uint8_t b, std::uint8_t g, std::uint8_t r) const {
    // 16 bits hold 255 * 256 and the half; said so, the compiler takes eight pixels at a time.
    return static_cast<std::uint8_t>(
        static_cast<std::uint16_t>(blue * b + green * g + red * r + 128) >> 8);
  }
};

/// The same of a film: gray = luma (stored - black) + blue (value - 128) + red (value - 128). A
/// colour that would be brighter than white or darker than black counts as that.
struct FilmGray {
  float luma;
  float black;
  float blue;
  float red;
};

/// A picture to measure in: luma and colours of what is asked for; only that is converted. A value
/// that is cheap to copy; copies share the pixels, which nobody changes. What it gives out may
/// share them too and is valid as long as one copy lives.
///
/// Gray is luma, which has the full resolution and is never displaced, unless another sum of the
/// colours is asked for (ColourPlane). Colours of a film are interpolated between the places where
/// its values belong (chroma siting), so that they are not displaced either.
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
    if (film_gray_) return film_gray_at(column, row);
    const std::uint8_t stored = planes_.luma.at<std::uint8_t>(row, column);
    return planes_.full_range ? stored : full_range_of(stored);
  }

  /// Luma of the whole picture as it is stored: black may be 16, white 235. For what does not mind
  /// a gain and an offset. Shares the pixels; those of a BGR picture are converted once for all
  /// copies.
  [[nodiscard]] const cv::Mat& stored_luma() const;

  /// Colours, CV_8UC3, of a rectangle inside the picture. Without colour: three times gray.
  [[nodiscard]] cv::Mat bgr(const cv::Rect& area) const;
  [[nodiscard]] cv::Mat bgr() const { return bgr(area()); }

 private:
  /// The whole luma of a picture that came as BGR, made when it is first asked for.
  struct ConvertedLuma {
    std::once_flag once;
    cv::Mat luma;
  };

  [[nodiscard]] std::uint8_t film_gray_at(int column, int row) const;

  FilmPlanes planes_;  // without luma if the picture came as BGR
  cv::Mat bgr_;        // of a picture that came as BGR
  // Only where there is colour; else gray is luma.
  std::optional<GrayShares> shares_;   // of a picture that came as BGR,
  std::optional<FilmGray> film_gray_;  // of a film
  std::shared_ptr<ConvertedLuma> converted_;
};

}  // namespace nightswing::tracker
