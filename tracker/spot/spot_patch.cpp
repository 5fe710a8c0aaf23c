#include "tracker/spot/spot_patch.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <opencv2/imgproc.hpp>

namespace nightswing::tracker {
namespace {

/// What counts as being as bright as the saturated core: this many counts below its dimmest tenth.
/// (Where one channel is clipped the others go on rising, so that the core is no flat plateau.)
constexpr int kRimRipple = 6;

/// 255 where any channel reaches the saturation level; empty if none does anywhere.
cv::Mat saturated_pixels(const Picture& frame, const cv::Rect& area, int saturation) {
  if (frame.brightness_limit(area) < saturation) return {};
  const cv::Mat cut = frame.has_colour() ? frame.bgr(area) : frame.gray(area);
  double most = 0;
  cv::minMaxLoc(cut.reshape(1), nullptr, &most);
  if (most < saturation) return {};
  if (!frame.has_colour()) return cut >= saturation;
  cv::Mat mask(cut.size(), CV_8UC1);
  for (int row = 0; row < cut.rows; ++row) {
    const auto* pixel = cut.ptr<cv::Vec3b>(row);
    auto* out = mask.ptr<std::uint8_t>(row);
    for (int column = 0; column < cut.cols; ++column) {
      const cv::Vec3b& p = pixel[column];
      out[column] = std::max({p[0], p[1], p[2]}) >= saturation ? 255 : 0;
    }
  }
  return mask;
}

/// Adds to the mask the pixels near it that are as bright.
void add_smeared_rim(const cv::Mat& luma, cv::Mat& mask) {
  std::vector<std::uint8_t> core;
  for (int row = 0; row < luma.rows; ++row) {
    const auto* value = luma.ptr<std::uint8_t>(row);
    const auto* set = mask.ptr<std::uint8_t>(row);
    for (int column = 0; column < luma.cols; ++column) {
      if (set[column] != 0) core.push_back(value[column]);
    }
  }
  if (core.empty()) return;
  const auto dim = core.begin() + static_cast<std::ptrdiff_t>(core.size() / 10);
  std::nth_element(core.begin(), dim, core.end());
  const cv::Mat bright = luma >= *dim - kRimRipple;
  cv::Mat near;
  cv::dilate(mask, near, cv::Mat::ones(5, 5, CV_8UC1));
  mask |= near & bright;
}

}  // namespace

SpotPatch cut_patch(const Picture& frame, const cv::Rect& area, int saturation) {
  const cv::Mat luma = frame.gray(area);
  SpotPatch patch;
  patch.left_px = area.x;
  patch.top_px = area.y;
  patch.counts.resize(area.width, area.height);
  patch.at_least.setZero(area.width, area.height);
  patch.reflectance.setOnes(area.width, area.height);
  for (int row = 0; row < area.height; ++row) {
    const auto* value = luma.ptr<std::uint8_t>(row);
    for (int column = 0; column < area.width; ++column) patch.counts(column, row) = value[column];
  }
  cv::Mat saturated = saturated_pixels(frame, area, saturation);
  if (saturated.empty()) return patch;
  add_smeared_rim(luma, saturated);
  for (int row = 0; row < area.height; ++row) {
    const auto* set = saturated.ptr<std::uint8_t>(row);
    for (int column = 0; column < area.width; ++column) {
      if (set[column] != 0) patch.at_least(column, row) = 1.0;
    }
  }
  return patch;
}

SpotPatch merged(const SpotPatch& patch, int across) {
  SpotPatch coarse;
  coarse.merged = across * patch.merged;
  const Eigen::Index columns = patch.columns() / across;
  const Eigen::Index rows = patch.rows() / across;
  const double pixels = static_cast<double>(across) * across;
  const bool plain = patch.at_least.maxCoeff() == 0.0 && patch.reflectance.minCoeff() == 1.0;
  coarse.counts.resize(columns, rows);
  coarse.reflectance.setConstant(columns, rows, plain ? pixels : 0.0);
  coarse.at_least.setZero(columns, rows);
  // Sums over `across` rows, before neighbouring columns are added.
  Eigen::ArrayXd band(columns * across);
  const auto sum_rows = [&](const Eigen::ArrayXXd& fine, Eigen::Index j, auto sums) {
    band = fine.col(j * across).head(band.size());
    for (Eigen::Index k = 1; k < across; ++k) band += fine.col(j * across + k).head(band.size());
    sums = band.reshaped(across, columns).colwise().sum().transpose();
  };
  for (Eigen::Index j = 0; j < rows; ++j) {
    sum_rows(patch.counts, j, coarse.counts.col(j));
    if (plain) continue;
    sum_rows(patch.reflectance, j, coarse.reflectance.col(j));
    sum_rows(patch.at_least, j, coarse.at_least.col(j));
  }
  coarse.counts /= pixels;
  coarse.reflectance /= pixels;
  coarse.at_least = coarse.at_least.min(1.0);
  return coarse;
}

cv::Rect square_around(double x_px, double y_px, int half_px, cv::Size frame_size) {
  const cv::Rect frame({0, 0}, frame_size);
  // Clamped before rounding, so that an absurd place cannot overflow an int.
  const int x = static_cast<int>(std::lround(std::clamp(x_px, -1e6, 1e6)));
  const int y = static_cast<int>(std::lround(std::clamp(y_px, -1e6, 1e6)));
  return cv::Rect(x - half_px, y - half_px, 2 * half_px + 1, 2 * half_px + 1) & frame;
}

cv::Rect area_of(const SpotPatch& patch) {
  return {patch.left_px,
          patch.top_px,
          static_cast<int>(patch.columns()),
          static_cast<int>(patch.rows())};
}

cv::Mat smoothed(const Eigen::ArrayXXd& values, int half_px) {
  const cv::Mat view(static_cast<int>(values.cols()),
                     static_cast<int>(values.rows()),
                     CV_64FC1,
                     const_cast<double*>(values.data()));  // cv::Mat has no view of const data
  cv::Mat out;
  cv::blur(view, out, cv::Size(2 * half_px + 1, 2 * half_px + 1));
  return out;
}

}  // namespace nightswing::tracker
