#include "tracker/frames/picture.h"

#include <cstddef>
#include <stdexcept>
#include <utility>

#include <opencv2/core/hal/intrin.hpp>
#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {
namespace {

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
  if (!planes_.blue.empty()) picture.film_gray_ = film_gray_of(planes_, shares);
  return picture;
}

cv::Mat Picture::gray(const cv::Rect& area) const {
  if (film_gray_) return film_gray(planes_, area, *film_gray_);
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
  if (!planes_.blue.empty()) return film_bgr(planes_, area);
  cv::Mat out;
  cv::cvtColor(gray(area), out, cv::COLOR_GRAY2BGR);
  return out;
}

}  // namespace nightswing::tracker
