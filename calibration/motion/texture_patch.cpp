#include "calibration/motion/texture_patch.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/LU>

namespace nightswing::calibration {
namespace {

constexpr int kMostSteps = 8;
constexpr double kConverged_px = 0.01;  // the next step would be some hundredths of this
constexpr double kLeastPatchCorrelation = 0.8;
constexpr double kLeastGain = 0.05;  // darker than this little of the texture is left in 8 bits
constexpr double kMostGain = 20.0;

/// Cubic B-spline at the four pixels around a place that is t beyond the second.
std::array<float, 4> spline_weights(double t) {
  const double s = 1.0 - t;
  return {static_cast<float>(s * s * s / 6.0),
          static_cast<float>((3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0),
          static_cast<float>((3.0 * s * s * s - 6.0 * s * s + 4.0) / 6.0),
          static_cast<float>(t * t * t / 6.0)};
}

bool has_room(const cv::Mat& picture, cv::Point centre, int half_px) {
  return centre.x >= half_px && centre.y >= half_px && centre.x < picture.cols - half_px &&
         centre.y < picture.rows - half_px;
}

/// One place, from the window's centre. It must be two pixels inside the window.
float interpolated(const LumaWindow& window, const Eigen::Vector2d& offset_px) {
  const int whole_x = static_cast<int>(std::floor(offset_px.x()));
  const int whole_y = static_cast<int>(std::floor(offset_px.y()));
  const auto wx = spline_weights(offset_px.x() - whole_x);
  const auto wy = spline_weights(offset_px.y() - whole_y);
  const int first = window.side_px() / 2 - 1;
  float sum = 0.0F;
  for (int row = 0; row < 4; ++row) {
    const float* in = window.row(first + whole_y + row) + first + whole_x;
    sum += wy[static_cast<std::size_t>(row)] *
           (wx[0] * in[0] + wx[1] * in[1] + wx[2] * in[2] + wx[3] * in[3]);
  }
  return sum;
}

/// The square of the patch's size around the window's centre plus (dx, dy).
template <typename Sample>
void interpolate(const LumaWindow& window, double dx_px, double dy_px, Sample& out) {
  constexpr int kSide = TexturePatch::kSide_px;
  const int whole_x = static_cast<int>(std::floor(dx_px));
  const int whole_y = static_cast<int>(std::floor(dy_px));
  const auto wx = spline_weights(dx_px - whole_x);
  const auto wy = spline_weights(dy_px - whole_y);
  const int first = window.side_px() / 2 - TexturePatch::kHalf_px - 1;
  std::array<std::array<float, kSide>, kSide + 3> across;
  for (int row = 0; row < kSide + 3; ++row) {
    const float* in = window.row(first + whole_y + row) + first + whole_x;
    auto& line = across[static_cast<std::size_t>(row)];
    for (int k = 0; k < kSide; ++k) {
      line[static_cast<std::size_t>(k)] =
          wx[0] * in[k] + wx[1] * in[k + 1] + wx[2] * in[k + 2] + wx[3] * in[k + 3];
    }
  }
  for (std::size_t row = 0; row < kSide; ++row) {
    for (std::size_t k = 0; k < kSide; ++k) {
      out[row * kSide + k] = wy[0] * across[row][k] + wy[1] * across[row + 1][k] +
                             wy[2] * across[row + 2][k] + wy[3] * across[row + 3][k];
    }
  }
}

}  // namespace

LumaWindow::LumaWindow(const cv::Mat& picture, cv::Point centre, int half_px)
    : side_px_(2 * half_px + 1), values_(static_cast<std::size_t>(side_px_ * side_px_)) {
  float* out = values_.data();
  for (int y = centre.y - half_px; y <= centre.y + half_px; ++y) {
    const int channels = picture.channels();
    const auto* in = picture.ptr<unsigned char>(y) + (centre.x - half_px) * channels;
    for (int k = 0; k < side_px_; ++k) {
      // Rec. ITU-R BT.601, in 256ths; the colour planes of a film are too coarse to be of use
      out[k] = channels == 1
                   ? static_cast<float>(in[k])
                   : static_cast<float>(29 * in[3 * k] + 150 * in[3 * k + 1] + 77 * in[3 * k + 2]) /
                         256.0F;
    }
    out += side_px_;
  }
}

TexturePatch::TexturePatch(const cv::Mat& reference, cv::Point centre, const Eigen::Matrix2d& turn)
    : centre_(centre), u_px_per_count_(std::numeric_limits<double>::infinity()) {
  const LumaWindow window(reference, centre, kMargin_px);
  const Eigen::Matrix2d back = turn.inverse();
  Surroundings luma;
  for (std::size_t y = 0; y < luma.size(); ++y) {
    for (std::size_t x = 0; x < luma.size(); ++x) {
      const Eigen::Vector2d offset(static_cast<double>(x) - kHalf_px - 1,
                                   static_cast<double>(y) - kHalf_px - 1);
      luma[y][x] = interpolated(window, back * offset);
    }
  }
  prepare(luma);
}

void TexturePatch::prepare(const Surroundings& luma) {
  Eigen::Matrix<double, Eigen::Dynamic, 4> columns(static_cast<Eigen::Index>(kPixels), 4);
  for (std::size_t y = 0; y < kSide_px; ++y) {
    for (std::size_t x = 0; x < kSide_px; ++x) {
      const std::size_t k = y * kSide_px + x;
      reference_[k] = luma[y + 1][x + 1];
      columns.row(static_cast<Eigen::Index>(k))
          << 0.5 * static_cast<double>(luma[y + 1][x + 2] - luma[y + 1][x]),
          0.5 * static_cast<double>(luma[y + 2][x + 1] - luma[y][x + 1]),
          static_cast<double>(luma[y + 1][x + 1]), 1.0;
    }
  }
  const Eigen::Matrix4d normal = columns.transpose() * columns;
  const Eigen::LDLT<Eigen::Matrix4d> solver(normal);
  // What a singular matrix leaves open is solved as if it were 0 and known; its pivots tell.
  const Eigen::Vector4d pivots = solver.vectorD();
  if (solver.info() != Eigen::Success || !(pivots.minCoeff() > 1e-12 * pivots.maxCoeff())) return;
  const Eigen::Matrix4d inverse = solver.solve(Eigen::Matrix4d::Identity());
  u_px_per_count_ = std::sqrt(std::max(inverse(0, 0), inverse(1, 1)));
  const Eigen::Matrix<double, 4, Eigen::Dynamic> solve = inverse * columns.transpose();
  for (Eigen::Index row = 0; row < 3; ++row) {
    for (std::size_t k = 0; k < kPixels; ++k) {
      solve_[static_cast<std::size_t>(row)][k] =
          static_cast<float>(solve(row, static_cast<Eigen::Index>(k)));
    }
  }
}

std::optional<TexturePatch::Step> TexturePatch::step(const Sample& sample) const {
  using Values = Eigen::Map<const Eigen::Array<float, static_cast<int>(kPixels), 1>>;
  const Values now(sample.data());
  const Values then(reference_.data());
  const float mean = now.mean();
  const auto coefficient = [&](const Sample& row) {
    return static_cast<double>((Values(row.data()) * (now - mean)).sum());
  };
  const double gain = coefficient(solve_[2]);
  if (!(gain > kLeastGain && gain < kMostGain)) return std::nullopt;
  const float then_mean = then.mean();
  const double product = static_cast<double>(((now - mean) * (then - then_mean)).sum());
  const double squares = static_cast<double>((now - mean).square().sum()) *
                         static_cast<double>((then - then_mean).square().sum());
  if (!(squares > 0.0)) return std::nullopt;
  return Step{
      -coefficient(solve_[0]) / gain, -coefficient(solve_[1]) / gain, product / std::sqrt(squares)};
}

std::optional<TexturePatch::Match> TexturePatch::find(const cv::Mat& picture,
                                                      PixelPoint expected) const {
  const cv::Point middle(static_cast<int>(std::lround(expected.x_px)),
                         static_cast<int>(std::lround(expected.y_px)));
  if (!has_room(picture, middle, kMargin_px)) return std::nullopt;
  const LumaWindow window(picture, middle, kMargin_px);
  const double first_x_px = expected.x_px - middle.x;
  const double first_y_px = expected.y_px - middle.y;
  double x_px = first_x_px;
  double y_px = first_y_px;
  Sample sample;
  for (int k = 0; k < kMostSteps; ++k) {
    interpolate(window, x_px, y_px, sample);
    const auto next = step(sample);
    if (!next) return std::nullopt;
    x_px += next->x_px;
    y_px += next->y_px;
    if (!(std::hypot(x_px - first_x_px, y_px - first_y_px) < kReach_px)) return std::nullopt;
    if (std::hypot(next->x_px, next->y_px) < kConverged_px) {
      if (next->correlation < kLeastPatchCorrelation) return std::nullopt;
      return Match{{middle.x + x_px, middle.y + y_px}, next->correlation};
    }
  }
  return std::nullopt;
}

std::optional<TexturePatch::Match> TexturePatch::glance(const cv::Mat& picture,
                                                        PixelPoint expected) const {
  const cv::Point middle(static_cast<int>(std::lround(expected.x_px)),
                         static_cast<int>(std::lround(expected.y_px)));
  if (!has_room(picture, middle, kMargin_px)) return std::nullopt;
  const LumaWindow window(picture, middle, kHalf_px + 2);
  Sample sample;
  interpolate(window, 0.0, 0.0, sample);
  const auto rough = step(sample);
  if (!rough || rough->correlation < kLeastPatchCorrelation) return std::nullopt;
  return Match{{middle.x + rough->x_px, middle.y + rough->y_px}, rough->correlation};
}

}  // namespace nightswing::calibration
