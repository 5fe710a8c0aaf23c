#pragma once

#include <algorithm>
#include <cstdint>
#include <memory>

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
inline constexpr double kLumaGain = static_cast<double>(kFullSteps) / kLumaSteps;

/// Luma of limited range as 0 to 255, rounded to the nearest.
[[nodiscard]] constexpr std::uint8_t full_range_of(std::uint8_t stored) {
  const int steps = std::clamp(stored - kBlackLuma, 0, kLumaSteps);
  return static_cast<std::uint8_t>((steps * kFullSteps + kLumaSteps / 2) / kLumaSteps);
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

/// What luma and the two colour differences of a film add to such a gray: gray =
/// luma (stored - black) + blue (value - 128) + red (value - 128), limited to 0 .. 255 as a whole.
struct FilmGray {
  float luma;
  float black;
  float blue;
  float red;
};

[[nodiscard]] FilmGray film_gray_of(const FilmPlanes& planes, const GrayShares& shares);

// Colours are interpolated between the places where their values belong (chroma siting), so that
// they are not displaced. The planes must fit together and have colour; areas and pixels must be
// inside the picture.

/// Colours of a rectangle, CV_8UC3, blue, green, red, 0 to 255, rounded to the nearest.
[[nodiscard]] cv::Mat film_bgr(const FilmPlanes& planes, const cv::Rect& area);

/// An upper bound of all colours in a rectangle, from the extremes of the planes, which are quicker
/// to find than the colours.
[[nodiscard]] int film_brightness_limit(const FilmPlanes& planes, const cv::Rect& area);

/// The weighted sum of the colours in a rectangle, CV_8UC1, without writing the colours out.
[[nodiscard]] cv::Mat film_gray(const FilmPlanes& planes,
                                const cv::Rect& area,
                                const FilmGray& gray);

/// The same of one pixel, to the bit.
[[nodiscard]] std::uint8_t film_gray_at(const FilmPlanes& planes,
                                        const FilmGray& gray,
                                        int column,
                                        int row);

}  // namespace nightswing::tracker
