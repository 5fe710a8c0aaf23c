#include "tracker/report/path_in_picture.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Dense>

namespace nightswing::tracker {

std::optional<PathInPicture> PathInPicture::of(const std::vector<ShownSample>& samples) {
  constexpr double kLeast_mm = 1.0;
  constexpr std::size_t kMostUsed = 2000;
  if (samples.size() < 3) return std::nullopt;
  const auto [low, high] = std::ranges::minmax(samples, {}, &ShownSample::x_mm);
  if (high.x_mm - low.x_mm < kLeast_mm) return std::nullopt;
  PathInPicture path;
  path.from_mm_ = low.x_mm;
  path.to_mm_ = high.x_mm;
  path.middle_mm_ = 0.5 * (low.x_mm + high.x_mm);
  path.half_mm_ = 0.5 * (high.x_mm - low.x_mm);
  // px (c x + 1) = a x + b is linear in a, b and c; perspective is weak, so that the weights
  // c x + 1 of the rows do not matter.
  const std::size_t step = samples.size() / kMostUsed + 1;
  const auto rows = static_cast<Eigen::Index>((samples.size() + step - 1) / step);
  Eigen::MatrixXd a = Eigen::MatrixXd::Zero(2 * rows, 5);
  Eigen::VectorXd b(2 * rows);
  for (Eigen::Index i = 0; i < rows; ++i) {
    const ShownSample& s = samples[static_cast<std::size_t>(i) * step];
    const double x = (s.x_mm - path.middle_mm_) / path.half_mm_;
    a.row(2 * i) << x, 1.0, 0.0, 0.0, -x * s.pixel.x_px;
    a.row(2 * i + 1) << 0.0, 0.0, x, 1.0, -x * s.pixel.y_px;
    b(2 * i) = s.pixel.x_px;
    b(2 * i + 1) = s.pixel.y_px;
  }
  const Eigen::VectorXd solved = a.colPivHouseholderQr().solve(b);
  path.ax_ = solved(0);
  path.bx_ = solved(1);
  path.ay_ = solved(2);
  path.by_ = solved(3);
  path.c_ = solved(4);
  return path;
}

calibration::PixelPoint PathInPicture::at(double x_mm) const {
  const double x = (x_mm - middle_mm_) / half_mm_;
  const double w = c_ * x + 1.0;
  return {(ax_ * x + bx_) / w, (ay_ * x + by_) / w};
}

calibration::PixelPoint PathInPicture::direction(double x_mm) const {
  const auto here = at(x_mm);
  const auto there = at(x_mm + 0.01 * half_mm_);
  const double length = std::hypot(there.x_px - here.x_px, there.y_px - here.y_px);
  return {(there.x_px - here.x_px) / length, (there.y_px - here.y_px) / length};
}

std::vector<PathMark> path_marks(const PathInPicture& path) {
  constexpr double kStep_mm = 10.0;
  constexpr int kLabelEvery = 5;
  std::vector<PathMark> marks;
  const int last = static_cast<int>(std::ceil(path.to_mm() / kStep_mm));
  for (int k = static_cast<int>(std::floor(path.from_mm() / kStep_mm)); k <= last; ++k) {
    marks.push_back({kStep_mm * k, k % kLabelEvery == 0});
  }
  return marks;
}

}  // namespace nightswing::tracker
