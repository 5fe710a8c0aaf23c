#include "tracker/frames/film_colours.h"

#include <array>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include <opencv2/core/hal/intrin.hpp>
#if __has_include(<opencv2/core/hal/intrin_legacy_ops.h>)
#include <opencv2/core/hal/intrin_legacy_ops.h>  // the operators, in OpenCV 4.11 and later
#endif

namespace nightswing::tracker {
namespace {

constexpr float kNoColour = 128.0F;
constexpr double kColourGain = static_cast<double>(kFullSteps) / kColourSteps;

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

/// Where on a coarser axis a pixel lies: between two values, this much of the second.
struct CoarsePlace {
  int first;
  int second;
  float share;
};

/// The values of a coarser plane along one axis of the picture.
struct CoarseAxis {
  int each;         ///< pixels for one value
  double first_px;  ///< where the first value is
  int values;

  [[nodiscard]] CoarsePlace at(int pixel) const {
    const double place =
        std::clamp((pixel - first_px) / each, 0.0, static_cast<double>(values - 1));
    const int whole = std::min(static_cast<int>(place), std::max(values - 2, 0));
    return {whole, std::min(whole + 1, values - 1), static_cast<float>(place - whole)};
  }
};

CoarseAxis columns_of(const FilmPlanes& planes) {
  return {planes.columns_each, planes.first_x_px, planes.blue.cols};
}

CoarseAxis rows_of(const FilmPlanes& planes) {
  return {planes.rows_each, planes.first_y_px, planes.blue.rows};
}

/// Between two values, `share` from the first to the second.
float between(float first, float second, float share) {
  return first + share * (second - first);
}

float gray_colour(const FilmGray& gray, float blue, float red) {
  return gray.blue * (blue - kNoColour) + gray.red * (red - kNoColour);
}

float lit_by(float gain, float black, std::uint8_t stored) {
  return gain * (static_cast<float>(stored) - black);
}

std::uint8_t counts(float value) {
  return cv::saturate_cast<std::uint8_t>(value);  // rounds and clamps
}

// The compiler makes vector instructions of these two loops as long as nothing overlaps.

/// What a row of the coarse planes adds to a gray.
void add_up_colours(const std::uint8_t* __restrict blue,
                    const std::uint8_t* __restrict red,
                    FilmGray gray,  // by value: nothing of it can overlap
                    float* __restrict out,
                    std::size_t values) {
  for (std::size_t k = 0; k < values; ++k) out[k] = gray_colour(gray, blue[k], red[k]);
}

void go_between(const float* __restrict first,
                const float* __restrict second,
                float share,
                float* __restrict out,
                std::size_t values) {
  for (std::size_t k = 0; k < values; ++k) out[k] = between(first[k], second[k], share);
}

/// Two pixels for each value, with a share of the next value each: four pairs at a time. Returns
/// how many of the `pairs` are done.
int spread_pairs(const float* from, float first_share, float second_share, float* to, int pairs) {
  const cv::v_float32x4 first = cv::v_setall_f32(first_share);
  const cv::v_float32x4 second = cv::v_setall_f32(second_share);
  int m = 0;
  for (; m + 4 <= pairs; m += 4) {
    const cv::v_float32x4 left = cv::v_load(from + m);
    const cv::v_float32x4 step = cv::v_load(from + m + 1) - left;
    cv::v_store_interleave(to + 2 * m, left + first * step, left + second * step);
  }
  return m;
}

/// Interpolates rows of something that is known on a coarser grid for the pixels of an area.
/// `row_of` writes a coarse row from a value on.
template <typename RowOf>
class Refined {
 public:
  Refined(const FilmPlanes& planes, const cv::Rect& area, RowOf row_of)
      : columns_(columns_of(planes)),
        rows_(rows_of(planes)),
        left_px_(area.x),
        row_of_(std::move(row_of)),
        first_value_(columns_.at(area.x).first),
        above_(
            static_cast<std::size_t>(columns_.at(area.x + area.width - 1).second - first_value_) +
            1),
        below_(above_.size()),
        level_(above_.size()),
        pixels_(static_cast<std::size_t>(area.width)) {}

  /// Rows of the picture are best asked for from top to bottom. Valid until the next call.
  const float* row(int row_px) {
    const CoarsePlace place = rows_.at(row_px);
    if (place.first == below_row_ && place.first != above_row_) {
      std::swap(above_, below_);
      std::swap(above_row_, below_row_);
    }
    ask_for(place.first, above_row_, above_);
    ask_for(place.second, below_row_, below_);
    go_between(above_.data(), below_.data(), place.share, level_.data(), level_.size());
    spread();
    return pixels_.data();
  }

 private:
  void ask_for(int row, int& has_row, std::vector<float>& values) {
    if (row == has_row) return;
    row_of_(row, first_value_, values);
    has_row = row;
  }

  void write(int k) {
    const CoarsePlace place = columns_.at(left_px_ + k);
    pixels_[static_cast<std::size_t>(k)] =
        between(level_[static_cast<std::size_t>(place.first - first_value_)],
                level_[static_cast<std::size_t>(place.second - first_value_)],
                place.share);
  }

  /// Fills `pixels_` from `level_`. Between each two neighbouring values the pixels lie alike, so
  /// that the same shares serve all of these groups; before the first whole one and after the last
  /// it goes pixel by pixel.
  void spread() {
    const int each = columns_.each;
    const int count = static_cast<int>(pixels_.size());
    const int start_px = static_cast<int>(std::ceil(columns_.first_px));
    const int group = std::max(0, (left_px_ - start_px + each - 1) / each);
    const int end =
        std::max(group, std::min(columns_.values - 1, (left_px_ + count - start_px) / each));
    int k = 0;
    for (; k < std::min(start_px + group * each - left_px_, count); ++k) write(k);
    const float* from = level_.data() + (group - first_value_);
    float* to = pixels_.data() + k;
    const auto share = [&](int within) { return columns_.at(left_px_ + k + within).share; };
    const int done =
        each == 2 && group < end ? spread_pairs(from, share(0), share(1), to, end - group) : 0;
    for (int within = 0; group < end && within < each; ++within) {
      const float alike = share(within);
      for (int m = done; m < end - group; ++m) {
        to[m * each + within] = between(from[m], from[m + 1], alike);
      }
    }
    for (k += (end - group) * each; k < count; ++k) write(k);
  }

  CoarseAxis columns_;
  CoarseAxis rows_;
  int left_px_;
  RowOf row_of_;
  int first_value_;
  int above_row_ = -1;
  int below_row_ = -1;
  std::vector<float> above_;
  std::vector<float> below_;
  std::vector<float> level_;
  std::vector<float> pixels_;
};

/// Sixteen values, four by four.
struct Sixteen {
  cv::v_float32x4 of[4];

  static Sixteen of_floats(const float* from) {
    return {{cv::v_load(from), cv::v_load(from + 4), cv::v_load(from + 8), cv::v_load(from + 12)}};
  }

  /// As lit_by() says.
  static Sixteen lit(const std::uint8_t* stored, float gain, float black) {
    const cv::v_uint8x16 bytes = cv::v_load(stored);
    cv::v_uint16x8 half[2];
    cv::v_expand(bytes, half[0], half[1]);
    Sixteen out;
    for (int k = 0; k < 2; ++k) {
      cv::v_uint32x4 low, high;
      cv::v_expand(half[k], low, high);
      const auto one = [&](const cv::v_uint32x4& value) {
        return cv::v_setall_f32(gain) *
               (cv::v_cvt_f32(cv::v_reinterpret_as_s32(value)) - cv::v_setall_f32(black));
      };
      out.of[2 * k] = one(low);
      out.of[2 * k + 1] = one(high);
    }
    return out;
  }

  /// As counts() says.
  [[nodiscard]] cv::v_uint8x16 counts() const {
    return cv::v_pack_u(cv::v_pack(cv::v_round(of[0]), cv::v_round(of[1])),
                        cv::v_pack(cv::v_round(of[2]), cv::v_round(of[3])));
  }
};

/// A row's colours: `blue` and `red` are around 0.
void write_bgr(const std::uint8_t* stored,
               const float* blue,
               const float* red,
               const ColourWeights& weights,
               std::uint8_t* out,
               int pixels) {
  const auto of_pixel = [&weights](const auto& luma, const auto& b, const auto& r, auto weight) {
    return std::array{luma + weight(weights.blue.own) * b,
                      luma - weight(weights.red.green) * r - weight(weights.blue.green) * b,
                      luma + weight(weights.red.own) * r};
  };
  int k = 0;
  for (; k + 16 <= pixels; k += 16) {
    const Sixteen luma = Sixteen::lit(stored + k, weights.luma, weights.black);
    const Sixteen b = Sixteen::of_floats(blue + k);
    const Sixteen r = Sixteen::of_floats(red + k);
    std::array<Sixteen, 3> bgr;
    for (int part = 0; part < 4; ++part) {
      const auto colours = of_pixel(
          luma.of[part], b.of[part], r.of[part], [](float w) { return cv::v_setall_f32(w); });
      for (std::size_t c = 0; c < 3; ++c) bgr[c].of[part] = colours[c];
    }
    cv::v_store_interleave(
        out + std::ptrdiff_t{3} * k, bgr[0].counts(), bgr[1].counts(), bgr[2].counts());
  }
  for (; k < pixels; ++k) {
    const auto bgr = of_pixel(
        lit_by(weights.luma, weights.black, stored[k]), blue[k], red[k], [](float w) { return w; });
    for (std::size_t c = 0; c < 3; ++c)
      out[std::size_t{3} * static_cast<std::size_t>(k) + c] = counts(bgr[c]);
  }
}

void add_luma(const std::uint8_t* stored,
              const float* colour,
              const FilmGray& gray,
              std::uint8_t* out,
              int pixels) {
  int k = 0;
  for (; k + 16 <= pixels; k += 16) {
    Sixteen sum = Sixteen::lit(stored + k, gray.luma, gray.black);
    const Sixteen colours = Sixteen::of_floats(colour + k);
    for (int part = 0; part < 4; ++part) sum.of[part] = sum.of[part] + colours.of[part];
    cv::v_store(out + k, sum.counts());
  }
  for (; k < pixels; ++k) out[k] = counts(lit_by(gray.luma, gray.black, stored[k]) + colour[k]);
}

}  // namespace

FilmGray film_gray_of(const FilmPlanes& planes, const GrayShares& shares) {
  const ColourWeights weights(planes);
  const auto part = [](std::uint16_t share) { return static_cast<float>(share) / 256.0F; };
  const float green = part(shares.green);
  return {.luma = weights.luma,  // the shares add up to 1
          .black = weights.black,
          .blue = part(shares.blue) * weights.blue.own - green * weights.blue.green,
          .red = part(shares.red) * weights.red.own - green * weights.red.green};
}

cv::Mat film_bgr(const FilmPlanes& planes, const cv::Rect& area) {
  const auto refined = [&](const cv::Mat& plane) {
    return Refined(planes, area, [&plane](int row, int first, std::vector<float>& out) {
      const auto* from = plane.ptr<std::uint8_t>(row) + first;
      for (std::size_t k = 0; k < out.size(); ++k) out[k] = static_cast<float>(from[k]) - kNoColour;
    });
  };
  auto blue = refined(planes.blue);
  auto red = refined(planes.red);
  const ColourWeights weights(planes);
  cv::Mat out(area.size(), CV_8UC3);
  for (int row = 0; row < area.height; ++row) {
    write_bgr(planes.luma.ptr<std::uint8_t>(area.y + row) + area.x,
              blue.row(area.y + row),
              red.row(area.y + row),
              weights,
              out.ptr<std::uint8_t>(row),
              area.width);
  }
  return out;
}

int film_brightness_limit(const FilmPlanes& planes, const cv::Rect& area) {
  const CoarseAxis columns = columns_of(planes);
  const CoarseAxis rows = rows_of(planes);
  const cv::Point first(columns.at(area.x).first, rows.at(area.y).first);
  const cv::Point last(columns.at(area.br().x - 1).second, rows.at(area.br().y - 1).second);
  const cv::Rect coarse(first, last + cv::Point(1, 1));
  struct Extremes {
    double least = 0;
    double most = 0;
  };
  const auto extremes_in = [](const cv::Mat& plane, const cv::Rect& part) {
    Extremes e;
    cv::minMaxLoc(plane(part), &e.least, &e.most);
    return e;
  };
  const double no_colour = static_cast<double>(kNoColour);
  const Extremes blue = extremes_in(planes.blue, coarse);
  const Extremes red = extremes_in(planes.red, coarse);
  const ColourWeights weights(planes);
  const auto times = [](float weight, double value) { return static_cast<double>(weight) * value; };
  const double luma =
      times(weights.luma, extremes_in(planes.luma, area).most - static_cast<double>(weights.black));
  const double brightest = std::max({luma + times(weights.blue.own, blue.most - no_colour),
                                     luma + times(weights.red.own, red.most - no_colour),
                                     luma + times(weights.red.green, no_colour - red.least) +
                                         times(weights.blue.green, no_colour - blue.least)});
  return static_cast<int>(std::ceil(std::clamp(brightest, 0.0, 1.0 * kFullSteps)));
}

cv::Mat film_gray(const FilmPlanes& planes, const cv::Rect& area, const FilmGray& gray) {
  Refined colour(planes, area, [&](int row, int first, std::vector<float>& out) {
    add_up_colours(planes.blue.ptr<std::uint8_t>(row) + first,
                   planes.red.ptr<std::uint8_t>(row) + first,
                   gray,
                   out.data(),
                   out.size());
  });
  cv::Mat out(area.size(), CV_8UC1);
  for (int row = 0; row < area.height; ++row) {
    add_luma(planes.luma.ptr<std::uint8_t>(area.y + row) + area.x,
             colour.row(area.y + row),
             gray,
             out.ptr<std::uint8_t>(row),
             area.width);
  }
  return out;
}

std::uint8_t film_gray_at(const FilmPlanes& planes, const FilmGray& gray, int column, int row) {
  const CoarsePlace x = columns_of(planes).at(column);
  const CoarsePlace y = rows_of(planes).at(row);
  const auto colour_at = [&](int coarse_column) {
    const auto value = [&](int coarse_row) {
      return gray_colour(gray,
                         planes.blue.at<std::uint8_t>(coarse_row, coarse_column),
                         planes.red.at<std::uint8_t>(coarse_row, coarse_column));
    };
    return between(value(y.first), value(y.second), y.share);
  };
  return counts(lit_by(gray.luma, gray.black, planes.luma.at<std::uint8_t>(row, column)) +
                between(colour_at(x.first), colour_at(x.second), x.share));
}

}  // namespace nightswing::tracker
