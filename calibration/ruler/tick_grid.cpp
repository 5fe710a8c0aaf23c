#include "calibration/ruler/tick_grid.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <utility>

#include <Eigen/Dense>
#include <opencv2/imgproc.hpp>

#include "calibration/map/median.h"
#include "calibration/map/robust_fit.h"

namespace nightswing::calibration {
namespace {

constexpr double kLeanReach = 3.0;  // divisions to both sides of where the comb was found
constexpr double kEdgeReach = 7.0;  // and in which their beginnings and ends are looked for
constexpr int kMostGridReach_px = 90;
constexpr double kGridHalfWeight_px = 1.0;  // of a block, off the edge
constexpr int kGridBlock = 8;               // divisions looked at together
constexpr int kSamples = 8;                 // a division
// cv::remap gives less than 32767 columns at a time.
constexpr int kMostRemapColumns = std::numeric_limits<short>::max() - 1;

/// The strokes of a few divisions, row by row: amplitude and phase at one cycle a division.
struct Block {
  double s_px = 0.0;
  double division_px = 0.0;
  double first_h_px = 0.0;
  std::vector<std::complex<double>> rows;
};

struct Lean {
  double at_zero;
  double per_px;
};

std::vector<Block> blocks_of(const cv::Mat& values,
                             const TickGrid& grid,
                             double t_px,
                             double reach) {
  const int reach_px = std::clamp(cvRound(reach * grid.division_px()), 8, kMostGridReach_px);
  const int outer_px = reach_px + cvCeil(std::abs(t_px));
  const cv::Mat rows = straightened(values, grid, outer_px, kSamples);
  const int first_row = std::max(0, outer_px + cvRound(t_px) - reach_px);
  const int last_row = std::min(rows.rows - 1, outer_px + cvRound(t_px) + reach_px);
  std::vector<Block> blocks;
  for (int first = 0; first + kGridBlock <= grid.count(); first += kGridBlock) {
    Block block;
    block.s_px = grid.s_px(grid.first() + first + kGridBlock / 2.0);
    block.division_px = 1.0 / counts_per_px(grid.comb(), block.s_px);
    block.first_h_px = first_row - outer_px;
    std::vector<std::complex<double>> wave;
    for (int j = first * kSamples; j < (first + kGridBlock) * kSamples; ++j) {
      wave.push_back(std::polar(1.0, -2.0 * std::numbers::pi * j / kSamples));
    }
    for (int r = first_row; r <= last_row; ++r) {
      block.rows.push_back(part_along(wave, rows.ptr<float>(r) + first * kSamples));
    }
    blocks.push_back(block);
  }
  return blocks;
}

/// How well the strokes of each block stand in line from row to row once the lean is taken out.
double coherence(const std::vector<Block>& blocks, Lean lean) {
  double sum = 0.0;
  for (const Block& block : blocks) {
    const double turn_rad =
        2.0 * std::numbers::pi * (lean.at_zero + lean.per_px * block.s_px) / block.division_px;
    const std::complex<double> step = std::polar(1.0, turn_rad);
    std::complex<double> factor = std::polar(1.0, turn_rad * block.first_h_px);
    std::complex<double> together = 0.0;
    for (const std::complex<double>& row : block.rows) {
      together += row * factor;
      factor *= step;
    }
    sum += std::abs(together);
  }
  return sum;
}

StrokeBand with_lean(const cv::Mat& values, const StrokeBand& band, const TickComb& comb) {
  const TickGrid grid(band, comb, 1.0, 0.0);
  const std::vector<Block> blocks = blocks_of(values, grid, comb.t_px, kLeanReach);
  const double half_px = (comb.to_px - comb.from_px) / 2.0;
  Lean best{0.0, 0.0};
  double step = 0.03;
  double most = coherence(blocks, best);
  // A coarse grid, then ever finer ones around the best.
  for (const int reach : {8, 3, 3, 3}) {
    const Lean middle = best;
    for (int i = -reach; i <= reach; ++i) {
      for (int k = -reach; k <= reach; ++k) {
        const Lean lean{middle.at_zero + i * step, middle.per_px + k * step / half_px};
        const double together = coherence(blocks, lean);
        if (together > most) {
          most = together;
          best = lean;
        }
      }
    }
    step /= 3.0;
  }
  StrokeBand result = band;
  result.lean += best.at_zero;
  result.lean_per_px += best.per_px;
  return result;
}

/// Amplitude by row, smoothed, its sum 1.
std::vector<double> row_profile(const Block& block) {
  const std::size_t count = block.rows.size();
  std::vector<double> profile(count, 0.0);
  double sum = 0.0;
  for (std::size_t r = 1; r + 1 < count; ++r) {
    profile[r] = std::abs(block.rows[r - 1] + 2.0 * block.rows[r] + block.rows[r + 1]);
    sum += profile[r];
  }
  for (double& value : profile) value /= std::max(1e-9, sum);
  return profile;
}

/// By how many rows a profile has to be moved to lie best on a model, and how well it does then.
struct Displacement {
  double rows = 0.0;
  double likeness = 0.0;
};

Displacement displacement(const std::vector<double>& profile, const std::vector<double>& model) {
  const int count = static_cast<int>(profile.size());
  const int most = count / 3;
  const auto likeness = [&](int shift) {
    double sum = 0.0;
    for (int r = std::max(0, -shift); r < std::min(count, count - shift); ++r) {
      sum += profile[static_cast<std::size_t>(r + shift)] * model[static_cast<std::size_t>(r)];
    }
    return sum;
  };
  int best = 0;
  for (int shift = -most; shift <= most; ++shift) {
    if (likeness(shift) > likeness(best)) best = shift;
  }
  // Vertex of the parabola through the best and its neighbours.
  const double before = likeness(best - 1);
  const double at = likeness(best);
  const double after = likeness(best + 1);
  const double bow = before - 2.0 * at + after;
  return {best + (bow < 0.0 ? 0.5 * (before - after) / bow : 0.0), at};
}

/// Corrects the edge by where each block of strokes begins and ends against the mean of all.
StrokeBand with_edge(const cv::Mat& values, const StrokeBand& band, const TickComb& comb) {
  const TickGrid grid(band, comb, 1.0, 0.0);
  const std::vector<Block> blocks = blocks_of(values, grid, comb.t_px, kEdgeReach);
  const auto count = static_cast<Eigen::Index>(blocks.size());
  if (count < 6) return band;
  std::vector<std::vector<double>> profiles;
  std::vector<double> model(blocks.front().rows.size(), 0.0);
  for (const Block& block : blocks) {
    profiles.push_back(row_profile(block));
    for (std::size_t r = 0; r < model.size(); ++r) model[r] += profiles.back()[r];
  }
  Eigen::MatrixXd matrix(count, 3);
  Eigen::VectorXd shift_px(count);
  Eigen::VectorXd likeness(count);
  for (Eigen::Index i = 0; i < count; ++i) {
    const Block& block = blocks[static_cast<std::size_t>(i)];
    const Displacement found = displacement(profiles[static_cast<std::size_t>(i)], model);
    // A row is one step of h, which is so many pixels of t here.
    shift_px[i] = found.rows * std::sqrt(block.division_px / grid.division_px());
    likeness[i] = found.likeness;
    matrix.row(i) << 1.0, block.s_px, block.s_px * block.s_px;
  }
  const Eigen::VectorXd fit = robust_solution(
      matrix, shift_px, {.half_weight = kGridHalfWeight_px, .beforehand = likeness});
  StrokeBand result = band;
  result.edge_per_px += fit[1];
  result.edge_per_px2 += fit[2];
  return result;
}

}  // namespace

TickGrid::TickGrid(const StrokeBand& band, const TickComb& comb, double step, double offset)
    : band_(band), comb_(comb), step_(step), offset_(offset) {
  first_ = cvCeil(count_at(comb, comb.from_px) / step - offset);
  last_ = cvFloor(count_at(comb, comb.to_px) / step - offset);
  const double middle_px = (comb.from_px + comb.to_px) / 2.0;
  middle_depth_ = std::sqrt(1.0 / counts_per_px(comb, middle_px));
  std::vector<double> lengths_px;
  for (int i = 0; i <= 20; ++i) {
    const double s_px = comb.from_px + (comb.to_px - comb.from_px) * i / 20.0;
    lengths_px.push_back(step / counts_per_px(comb, s_px));
  }
  division_px_ = upper_median_of(std::move(lengths_px));
}

double TickGrid::depth(double s_px) const {
  return std::sqrt(1.0 / counts_per_px(comb_, s_px)) / middle_depth_;
}

double TickGrid::s_px(double x) const {
  const double count = step_ * (x + offset_);
  // The curve is that of a straight ruler but for the small e: its own inverse starts, Newton ends.
  double z = (count - comb_.b) / (comb_.a - comb_.c * count);
  double s_px = comb_.centre_px + z * comb_.half_span_px;
  s_px = std::clamp(s_px, comb_.from_px - 100.0, comb_.to_px + 100.0);
  for (int round = 0; round < 4; ++round) {
    s_px -= (count_at(comb_, s_px) - count) / counts_per_px(comb_, s_px);
  }
  return s_px;
}

cv::Point2d TickGrid::pixel_at(double x, double h_px) const {
  const double s = s_px(x);
  return calibration::pixel_at(band_, s, h_px * depth(s));
}

TickGrid TickGrid::recounted(double step, double offset) const {
  // x_old = step (i + offset), count = step_ (x_old + offset_).
  return {band_, comb_, step_ * step, offset + offset_ / step};
}

TickGrid TickGrid::with_band(const StrokeBand& band) const {
  return {band, comb_, step_, offset_};
}

std::complex<double> part_along(std::span<const std::complex<double>> wave, const float* values) {
  std::complex<double> sum = 0.0;
  for (const std::complex<double>& phase : wave) {
    const double value = static_cast<double>(*values++);
    if (!std::isnan(value)) sum += value * phase;
  }
  return sum;
}

cv::Mat straightened(const cv::Mat& values, const TickGrid& grid, int reach_px, int per_division) {
  const int rows = 2 * reach_px + 1;
  const int columns = grid.count() * per_division;
  cv::Mat map_x(rows, columns, CV_32F);
  cv::Mat map_y(rows, columns, CV_32F);
  for (int j = 0; j < columns; ++j) {
    const double x = grid.first() - 0.5 + static_cast<double>(j) / per_division;
    const cv::Point2d base = grid.pixel_at(x, 0.0);
    const cv::Point2d step = (grid.pixel_at(x, reach_px) - base) / reach_px;
    for (int r = 0; r < rows; ++r) {
      const cv::Point2d p = base + step * (r - reach_px);
      map_x.at<float>(r, j) = static_cast<float>(p.x);
      map_y.at<float>(r, j) = static_cast<float>(p.y);
    }
  }
  cv::Mat result(rows, columns, CV_32F);
  for (int from = 0; from < columns; from += kMostRemapColumns) {
    const cv::Range part(from, std::min(columns, from + kMostRemapColumns));
    cv::Mat piece = result.colRange(part);
    cv::remap(values,
              piece,
              map_x.colRange(part),
              map_y.colRange(part),
              cv::INTER_CUBIC,
              cv::BORDER_CONSTANT,
              std::numeric_limits<float>::quiet_NaN());
  }
  return result;
}

StrokeBand aligned(const cv::Mat& values, const StrokeBand& band, const TickComb& comb) {
  StrokeBand result = with_lean(values, band, comb);
  for (int round = 0; round < 3; ++round) result = with_edge(values, result, comb);
  return with_lean(values, result, comb);
}

}  // namespace nightswing::calibration
