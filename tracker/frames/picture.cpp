#include "tracker/frames/picture.h"

#include <algorithm>
#include <array>
#include <stdexcept>
#include <utility>
#include <vector>

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

std::vector<CoarsePlace> coarse_places(int from, int count, int each, double first_px, int values) {
  std::vector<CoarsePlace> places;
  places.reserve(static_cast<std::size_t>(count));
  for (int k = from; k < from + count; ++k) {
    const double place = std::clamp((k - first_px) / each, 0.0, static_cast<double>(values - 1));
    const int whole = std::min(static_cast<int>(place), std::max(values - 2, 0));
    places.push_back({whole, std::min(whole + 1, values - 1), static_cast<float>(place - whole)});
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

// The compiler makes vector instructions of this loop as long as nothing overlaps.
void add_weighted(const std::uint8_t* __restrict blue,
                  const std::uint8_t* __restrict green,
                  const std::uint8_t* __restrict red,
                  GrayShares shares,
                  std::uint8_t* __restrict gray,
                  int pixels) {
  for (int k = 0; k < pixels; ++k) gray[k] = shares.gray(blue[k], green[k], red[k]);
}

cv::Mat weighted(const cv::Mat& bgr, const GrayShares& shares) {
  constexpr int kBand_pixels = 16384;  // small enough for the cache, and a split costs by the call
  const int rows_each = std::max(1, kBand_pixels / bgr.cols);
  std::array<cv::Mat, 3> colours;
  cv::Mat gray(bgr.size(), CV_8UC1);
  for (int row = 0; row < bgr.rows; row += rows_each) {
    const cv::Mat band = bgr.rowRange(row, std::min(row + rows_each, bgr.rows));
    cv::split(band, colours.data());
    add_weighted(colours[0].data,
                 colours[1].data,
                 colours[2].data,
                 shares,
                 gray.ptr<std::uint8_t>(row),
                 static_cast<int>(band.total()));
  }
  return gray;
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
  if (has_colour()) picture.shares_ = shares;
  return picture;
}

cv::Mat Picture::gray(const cv::Rect& area) const {
  if (shares_) return weighted(bgr(area), *shares_);
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
