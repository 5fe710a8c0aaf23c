#include "tracker/frames/picture.h"

#include <algorithm>
#include <cstddef>
#include <stdexcept>
#include <utility>
#include <vector>

#include <opencv2/core/hal/intrin.hpp>
#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {
namespace {

constexpr float kNoColour = 128.0F;
constexpr double kLumaGain = static_cast<double>(kFullSteps) / kLumaSteps;
constexpr double kColourGain = static_cast<double>(kFullSteps) / kColourSteps;

/// Where on a coarser axis each pixel of a stretch lies: between two values, this much of the
/// second.
struct CoarsePlace {
  int first;
  int second;
  float share;
};

CoarsePlace coarse_place(int pixel, int each, double first_px, int values) {
  const double place = std::clamp((pixel - first_px) / each, 0.0, static_cast<double>(values - 1));
  const int whole = std::min(static_cast<int>(place), std::max(values - 2, 0));
  return {whole, std::min(whole + 1, values - 1), static_cast<float>(place - whole)};
}

std::vector<CoarsePlace> coarse_places(int from, int count, int each, double first_px, int values) {
  std::vector<CoarsePlace> places;
  places.reserve(static_cast<std::size_t>(count));
  for (int k = from; k < from + count; ++k) {
    places.push_back(coarse_place(k, each, first_px, values));
  }
  return places;
}

/// One row of a coarse plane, interpolated for the pixels of a row of the picture.
void interpolate_row(const cv::Mat& plane,
                     const CoarsePlace& row,
                     const std::vector<CoarsePlace>& columns,
                     std::vector<float>& between_rows,
                     std::vector<float>& out) {
  const auto* upper = plane.ptr<std::uint8_t>(row.first);
  const auto* lower = plane.ptr<std::uint8_t>(row.second);
  for (int k = columns.front().first; k <= columns.back().second; ++k) {
    const auto above = static_cast<float>(upper[k]);
    between_rows[static_cast<std::size_t>(k)] =
        above + row.share * (static_cast<float>(lower[k]) - above);
  }
  for (std::size_t k = 0; k < columns.size(); ++k) {
    const float left = between_rows[static_cast<std::size_t>(columns[k].first)];
    const float right = between_rows[static_cast<std::size_t>(columns[k].second)];
    out[k] = left + columns[k].share * (right - left);
  }
}

/// R = luma + red.own r, B = luma + blue.own b, G = luma - red.green r - blue.green b.
struct ColourWeights {
  struct Weight {
    float own;
    float green;
  };
  float luma;
  float black;
  Weight red;
  Weight blue;

  explicit ColourWeights(const FilmPlanes& planes) {
    const double gain = planes.full_range ? 1.0 : kColourGain;
    const double green_share = 1.0 - planes.red_share - planes.blue_share;
    const auto weight = [&](double share) {
      const double own = 2.0 * (1.0 - share) * gain;
      return Weight{static_cast<float>(own), static_cast<float>(own * share / green_share)};
    };
    luma = static_cast<float>(planes.full_range ? 1.0 : kLumaGain);
    black = static_cast<float>(planes.full_range ? 0.0 : kBlackLuma);
    red = weight(planes.red_share);
    blue = weight(planes.blue_share);
  }
};

std::uint8_t counts(float value) {
  return cv::saturate_cast<std::uint8_t>(value);  // rounds and clamps
}

cv::Mat coloured(const FilmPlanes& planes, const cv::Rect& area) {
  const auto rows =
      coarse_places(area.y, area.height, planes.rows_each, planes.first_y_px, planes.blue.rows);
  const auto columns =
      coarse_places(area.x, area.width, planes.columns_each, planes.first_x_px, planes.blue.cols);
  const ColourWeights weights(planes);
  std::vector<float> between_rows(static_cast<std::size_t>(planes.blue.cols));
  std::vector<float> blue(columns.size());
  std::vector<float> red(columns.size());
  cv::Mat out(area.size(), CV_8UC3);
  for (int row = 0; row < area.height; ++row) {
    const CoarsePlace& place = rows[static_cast<std::size_t>(row)];
    interpolate_row(planes.blue, place, columns, between_rows, blue);
    interpolate_row(planes.red, place, columns, between_rows, red);
    const auto* stored = planes.luma.ptr<std::uint8_t>(area.y + row) + area.x;
    auto* pixel = out.ptr<cv::Vec3b>(row);
    for (std::size_t k = 0; k < columns.size(); ++k) {
      const float luma = weights.luma * (static_cast<float>(stored[k]) - weights.black);
      const float b = blue[k] - kNoColour;
      const float r = red[k] - kNoColour;
      pixel[k] = {counts(luma + weights.blue.own * b),
                  counts(luma - weights.red.green * r - weights.blue.green * b),
                  counts(luma + weights.red.own * r)};
    }
  }
  return out;
}

/// Sixteen pixels at a time; what is left over is one by one.
int add_weighted(const std::uint8_t* bgr, GrayShares shares, std::uint8_t* gray, int pixels) {
  const cv::v_uint16x8 half = cv::v_setall_u16(128);
  const cv::v_uint16x8 blue = cv::v_setall_u16(shares.blue);
  const cv::v_uint16x8 green = cv::v_setall_u16(shares.green);
  const cv::v_uint16x8 red = cv::v_setall_u16(shares.red);
  // 16 bits hold 255 * 256 and the half.
  const auto sum = [&](const auto& b, const auto& g, const auto& r) {
    return cv::v_shr<8>(
        cv::v_add_wrap(cv::v_add_wrap(cv::v_mul_wrap(b, blue), cv::v_mul_wrap(g, green)),
                       cv::v_add_wrap(cv::v_mul_wrap(r, red), half)));
  };
  int k = 0;
  for (; k + 16 <= pixels; k += 16) {
    cv::v_uint8x16 b;
    cv::v_uint8x16 g;
    cv::v_uint8x16 r;
    cv::v_load_deinterleave(bgr + std::ptrdiff_t{3} * k, b, g, r);
    cv::v_uint16x8 b_low, b_high, g_low, g_high, r_low, r_high;
    cv::v_expand(b, b_low, b_high);
    cv::v_expand(g, g_low, g_high);
    cv::v_expand(r, r_low, r_high);
    cv::v_store(gray + k, cv::v_pack(sum(b_low, g_low, r_low), sum(b_high, g_high, r_high)));
  }
  return k;
}

cv::Mat weighted(const cv::Mat& bgr, const GrayShares& shares) {
  cv::Mat gray(bgr.size(), CV_8UC1);
  for (int row = 0; row < bgr.rows; ++row) {
    const auto* pixel = bgr.ptr<cv::Vec3b>(row);
    auto* out = gray.ptr<std::uint8_t>(row);
    const int done = add_weighted(bgr.ptr<std::uint8_t>(row), shares, out, bgr.cols);
    for (int k = done; k < bgr.cols; ++k) {
      out[k] = shares.gray(pixel[k][0], pixel[k][1], pixel[k][2]);
    }
  }
  return gray;
}

/// Between two values, `share` from the first to the second.
float between(float first, float second, float share) {
  return first + share * (second - first);
}

/// What a value of the colours adds to a gray.
float colour_of(const FilmGray& gray, float blue, float red) {
  return gray.blue * (blue - kNoColour) + gray.red * (red - kNoColour);
}

/// One row of a film's colours, interpolated between those that are stored, as what they add to a
/// gray: from column `first` on, as many as there is room for.
void add_up_colours(const FilmPlanes& planes,
                    const FilmGray& gray,
                    const CoarsePlace& row,
                    int first,
                    std::vector<float>& sums) {
  const std::uint8_t* __restrict blue_above = planes.blue.ptr<std::uint8_t>(row.first) + first;
  const std::uint8_t* __restrict blue_below = planes.blue.ptr<std::uint8_t>(row.second) + first;
  const std::uint8_t* __restrict red_above = planes.red.ptr<std::uint8_t>(row.first) + first;
  const std::uint8_t* __restrict red_below = planes.red.ptr<std::uint8_t>(row.second) + first;
  float* __restrict out = sums.data();
  for (std::size_t k = 0; k < sums.size(); ++k) {
    out[k] = colour_of(gray,
                       between(blue_above[k], blue_below[k], row.share),
                       between(red_above[k], red_below[k], row.share));
  }
}

std::uint8_t gray_of(const FilmGray& gray, std::uint8_t stored, float colour) {
  const float value = gray.luma * (static_cast<float>(stored) - gray.black) + colour;
  // The compiler makes no vector instructions of lround; what is negative becomes 0 either way.
  // NOLINTNEXTLINE(bugprone-incorrect-roundings)
  return static_cast<std::uint8_t>(std::clamp(static_cast<int>(value + 0.5F), 0, kFullSteps));
}

/// The columns of a stretch, each in its place on the coarser axis; told when asked for, since from
/// one value to the next the pixels lie alike.
struct CoarseColumns {
  int left_px;      ///< of the stretch, in the picture
  int count;        ///< of its pixels
  int each;         ///< pixels for one value
  double first_px;  ///< where the first value is
  int values;       ///< in a row of the coarser plane

  [[nodiscard]] CoarsePlace at(int column) const {
    return coarse_place(left_px + column, each, first_px, values);
  }
};

/// What the colours add to each pixel of a row; every `each`-th lies alike.
void spread_colours(const std::vector<float>& sums,
                    const CoarseColumns& columns,
                    std::vector<float>& out) {
  const int first = columns.at(0).first;
  const int count = columns.count;
  const int each = columns.each;
  const auto sum_at = [&](int column) { return sums[static_cast<std::size_t>(column - first)]; };
  for (int start = 0; start < std::min(each, count); ++start) {
    // Beside the border, where there is no value farther out, the share is another.
    const auto pixel = [&](int k) {
      const CoarsePlace place = columns.at(k);
      out[static_cast<std::size_t>(k)] =
          between(sum_at(place.first), sum_at(place.second), place.share);
    };
    int k = start;
    for (; k < std::min(start + each, count); k += each) pixel(k);
    if (k < count) {
      const CoarsePlace place = columns.at(k);
      const float* from = &sums[static_cast<std::size_t>(place.first - first)];
      float* to = &out[static_cast<std::size_t>(k)];
      const int inner = (count - k - 1) / each;
      for (int m = 0; m < inner; ++m) to[m * each] = between(from[m], from[m + 1], place.share);
      k += inner * each;
    }
    for (; k < count; k += each) pixel(k);
  }
}

// The compiler makes vector instructions of this loop as long as nothing overlaps.
void add_luma(const std::uint8_t* __restrict stored,
              const float* __restrict colour,
              FilmGray gray,
              std::uint8_t* __restrict out,
              int pixels) {
  for (int k = 0; k < pixels; ++k) out[k] = gray_of(gray, stored[k], colour[k]);
}

/// The weighted sum of the colours of a film, without writing the colours out.
cv::Mat weighted(const FilmPlanes& planes, const cv::Rect& area, const FilmGray& gray) {
  const auto rows =
      coarse_places(area.y, area.height, planes.rows_each, planes.first_y_px, planes.blue.rows);
  const CoarseColumns columns{
      area.x, area.width, planes.columns_each, planes.first_x_px, planes.blue.cols};
  const int first = columns.at(0).first;
  std::vector<float> sums(static_cast<std::size_t>(columns.at(area.width - 1).second - first) + 1);
  std::vector<float> colour(static_cast<std::size_t>(area.width));
  cv::Mat out(area.size(), CV_8UC1);
  for (int row = 0; row < area.height; ++row) {
    add_up_colours(planes, gray, rows[static_cast<std::size_t>(row)], first, sums);
    spread_colours(sums, columns, colour);
    add_luma(planes.luma.ptr<std::uint8_t>(area.y + row) + area.x,
             colour.data(),
             gray,
             out.ptr<std::uint8_t>(row),
             area.width);
  }
  return out;
}

FilmGray film_gray(const FilmPlanes& planes, const GrayShares& shares) {
  const ColourWeights weights(planes);
  const auto part = [](std::uint16_t share) { return static_cast<float>(share) / 256.0F; };
  const float green = part(shares.green);
  return {.luma = weights.luma,  // the shares add up to 1
          .black = weights.black,
          .blue = part(shares.blue) * weights.blue.own - green * weights.blue.green,
          .red = part(shares.red) * weights.red.own - green * weights.red.green};
}

int ceil_of(int length, int each) {
  return (length + each - 1) / each;
}

bool fit_together(const FilmPlanes& planes) {
  if (planes.luma.empty() || planes.luma.type() != CV_8UC1) return false;
  if (planes.blue.empty() && planes.red.empty()) return true;
  const cv::Size coarse(ceil_of(planes.luma.cols, planes.columns_each),
                        ceil_of(planes.luma.rows, planes.rows_each));
  return planes.blue.type() == CV_8UC1 && planes.red.type() == CV_8UC1 &&
         planes.blue.size() == coarse && planes.red.size() == coarse;
}

}  // namespace

Picture::Picture(const cv::Mat& pixels) {
  planes_.full_range = true;
  if (pixels.empty()) return;
  if (pixels.type() == CV_8UC3) {
    bgr_ = pixels;
    converted_ = std::make_shared<ConvertedLuma>();
  } else if (pixels.type() == CV_8UC1) {
    planes_.luma = pixels;
  } else {
    throw std::invalid_argument("picture: the pixels must be 8-bit gray or BGR");
  }
}

Picture::Picture(FilmPlanes planes) : planes_(std::move(planes)) {
  if (!fit_together(planes_)) {
    throw std::invalid_argument("picture: the planes do not fit together");
  }
}

Picture Picture::in_gray_of(const GrayShares& shares) const {
  Picture picture = *this;
  if (!bgr_.empty()) picture.shares_ = shares;
  if (!planes_.blue.empty()) picture.film_gray_ = film_gray(planes_, shares);
  return picture;
}

/// The same as in a rectangle, to the bit.
std::uint8_t Picture::film_gray_at(int column, int row) const {
  const CoarsePlace x =
      coarse_place(column, planes_.columns_each, planes_.first_x_px, planes_.blue.cols);
  const CoarsePlace y = coarse_place(row, planes_.rows_each, planes_.first_y_px, planes_.blue.rows);
  const auto sum_at = [&](int coarse_column) {
    const auto value = [&](const cv::Mat& plane) {
      return between(plane.at<std::uint8_t>(y.first, coarse_column),
                     plane.at<std::uint8_t>(y.second, coarse_column),
                     y.share);
    };
    return colour_of(*film_gray_, value(planes_.blue), value(planes_.red));
  };
  return gray_of(*film_gray_,
                 planes_.luma.at<std::uint8_t>(row, column),
                 between(sum_at(x.first), sum_at(x.second), x.share));
}

cv::Mat Picture::gray(const cv::Rect& area) const {
  if (film_gray_) return weighted(planes_, area, *film_gray_);
  if (shares_) return weighted(bgr_(area), *shares_);
  if (planes_.full_range && (bgr_.empty() || area == this->area())) return stored_luma()(area);
  cv::Mat gray;
  if (!bgr_.empty()) {
    cv::cvtColor(bgr_(area), gray, cv::COLOR_BGR2GRAY);
    return gray;
  }
  planes_.luma(area).convertTo(gray, CV_8U, kLumaGain, -kLumaGain * kBlackLuma);
  return gray;
}

const cv::Mat& Picture::stored_luma() const {
  if (bgr_.empty()) return planes_.luma;
  std::call_once(converted_->once,
                 [this] { cv::cvtColor(bgr_, converted_->luma, cv::COLOR_BGR2GRAY); });
  return converted_->luma;
}

cv::Mat Picture::bgr(const cv::Rect& area) const {
  if (!bgr_.empty()) return bgr_(area);
  if (!planes_.blue.empty()) return coloured(planes_, area);
  cv::Mat out;
  cv::cvtColor(gray(area), out, cv::COLOR_GRAY2BGR);
  return out;
}

}  // namespace nightswing::tracker
