#include "calibration/ruler/tick_lengths.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

#include "calibration/map/median.h"
#include "calibration/ruler/tick_grid.h"

namespace nightswing::calibration {
namespace {

constexpr int kPer = kSamplesPerDivision;
constexpr double kAllThere = 0.5;         // of the best row's depth: here every tick still is
constexpr double kLeastOfMedian = 0.4;    // shallowest against the median tick, row by row
constexpr double kBetween = 0.3;          // depth of a stroke between two ticks against theirs
constexpr double kSurely = 5.0;           // standard deviations
constexpr double kMostDoubt = 0.45;       // of the depth of the ticks
constexpr int kSpectrumBlock = 8;         // divisions whose spectrum is looked at
constexpr double kBesideLine = 0.375;     // cycles a division: three lines of such a spectrum
constexpr double kStandsOut = 4.0;        // power of a line against what is beside it
constexpr double kRounding = 1.0 / 12.0;  // variance of a gray value rounded to a whole one

/// Median depth by row and place (column), smoothed along the rows.
cv::Mat folded_depths(const cv::Mat& depths, int first_tick, int period) {
  cv::Mat medians = cv::Mat::zeros(depths.rows, period, CV_32F);
  std::vector<float> values;
  for (int k = 0; k < period; ++k) {
    const int first = (((k - first_tick) % period) + period) % period;
    for (int r = 0; r < depths.rows; ++r) {
      values.clear();
      for (int i = first; i < depths.cols; i += period) {
        const float depth = depths.at<float>(r, i);
        if (!std::isnan(depth)) values.push_back(depth);
      }
      if (!values.empty()) medians.at<float>(r, k) = upper_median_of(values);
    }
  }
  cv::Mat smooth = medians.clone();
  for (int r = 1; r + 1 < medians.rows; ++r) {
    smooth.row(r) = (medians.row(r - 1) + 2.0 * medians.row(r) + medians.row(r + 1)) / 4.0;
  }
  return smooth;
}

/// The row at which a place's depth falls below a level, on the way from a row inside it.
double end_row(const cv::Mat& profile, int place, int from, int step, float level) {
  int r = from;
  while (r + step >= 0 && r + step < profile.rows && profile.at<float>(r + step, place) >= level) {
    r += step;
  }
  if (r + step < 0 || r + step >= profile.rows) return r;
  const double inside = static_cast<double>(profile.at<float>(r, place));
  const double outside = static_cast<double>(profile.at<float>(r + step, place));
  const double share = (inside - static_cast<double>(level)) / (inside - outside);
  return r + step * std::clamp(share, 0.0, 1.0);
}

/// The rows around the deepest one in which no place is far shallower than the others.
cv::Range common_rows(const cv::Mat& profile) {
  std::vector<float> common;
  for (int r = 0; r < profile.rows; ++r) {
    std::vector<float> all(profile.ptr<float>(r), profile.ptr<float>(r) + profile.cols);
    const float least = *std::ranges::min_element(all);
    const float median = upper_median_of(all);
    const bool alike = least >= static_cast<float>(kLeastOfMedian) * median;
    common.push_back(alike ? std::max(0.0F, median) : 0.0F);
  }
  const auto best = std::ranges::max_element(common);
  if (*best <= 0.0F) return {0, 0};
  const float level = static_cast<float>(kAllThere) * *best;
  int start = static_cast<int>(best - common.begin());
  int end = start + 1;
  while (start > 0 && common[static_cast<std::size_t>(start - 1)] >= level) --start;
  while (end < profile.rows && common[static_cast<std::size_t>(end)] >= level) ++end;
  return {start, end};
}

double spread_of(const std::vector<double>& ends) {
  const auto [least, most] = std::ranges::minmax_element(ends);
  return *most - *least;
}

/// Median gray of some rows by place within a division, the tick in the middle, turned so that
/// strokes are low, smoothed over three samples.
std::vector<double> division_profile(const cv::Mat& rows, cv::Range range, int polarity) {
  std::vector<double> medians;
  std::vector<float> values;
  for (int m = 0; m < kPer; ++m) {
    values.clear();
    for (int j = m; j < rows.cols; j += kPer) {
      float sum = 0.0F;
      for (int r = range.start; r < range.end; ++r) sum += rows.at<float>(r, j);
      if (!std::isnan(sum)) values.push_back(sum / static_cast<float>(range.size()));
    }
    medians.push_back(values.empty() ? 0.0
                                     : polarity * static_cast<double>(upper_median_of(values)));
  }
  std::vector<double> smooth(medians.size());
  const std::size_t size = medians.size();
  for (std::size_t m = 0; m < size; ++m) {
    smooth[m] = (medians[(m + size - 1) % size] + medians[m] + medians[(m + 1) % size]) / 3.0;
  }
  return smooth;
}

/// How far the profile falls again on the way from the tick to the middle between two ticks: the
/// depth of a stroke there.
double depth_between(const std::vector<double>& profile) {
  const int size = static_cast<int>(profile.size());
  double depth = 0.0;
  for (const int step : {-1, 1}) {
    double highest = profile[profile.size() / 2];
    for (int k = 1; k <= size / 2; ++k) {
      const double value = profile[static_cast<std::size_t>((size / 2 + step * k + size) % size)];
      highest = std::max(highest, value);
      depth = std::max(depth, highest - value);
    }
  }
  return depth;
}

/// Standard deviation of a gray value: from differences along the ticks, which they do not enter.
double noise_of(const cv::Mat& rows) {
  std::vector<double> differences;
  for (int r = 0; r + 2 < rows.rows; r += 3) {
    for (int j = 0; j < rows.cols; j += 5) {
      const double step = static_cast<double>(rows.at<float>(r + 2, j) - rows.at<float>(r, j));
      if (!std::isnan(step)) differences.push_back(std::abs(step));
    }
  }
  return differences.empty() ? 0.0 : scatter_of(std::move(differences)) / std::numbers::sqrt2;
}

using Wave = std::array<std::complex<double>, kSpectrumBlock * kPer>;

/// Of so many cycles a division, over a block of divisions, tapered towards its ends.
Wave tapered_wave(double cycles) {
  Wave wave;
  for (int j = 0; j < kSpectrumBlock * kPer; ++j) {
    const double taper = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * j / (kSpectrumBlock * kPer));
    wave[static_cast<std::size_t>(j)] =
        taper * std::polar(1.0, -2.0 * std::numbers::pi * cycles * j / kPer);
  }
  return wave;
}

/// Power that a block of divisions has in some rows along a wave.
double power_along(const Wave& wave, const cv::Mat& rows, cv::Range range, int first_column) {
  double power = 0.0;
  for (int r = range.start; r < range.end; ++r) {
    power += std::norm(part_along(wave, rows.ptr<float>(r) + first_column));
  }
  return power;
}

/// Whether some rows hold a comb of 2 to 5 strokes a division. Block by block and row by row, so
/// that it also shows where the rows were not straightened well enough to stack them.
bool holds_finer_comb(const cv::Mat& rows, cv::Range range, double division_px) {
  constexpr int kRows = 3;
  // Where the picture is white or black throughout there is nothing beside a line but the errors of
  // this computation: there it must stand out from rounding. The taper's mean square is 3/8.
  constexpr double kLeastBeside = kRows * kRounding * 3.0 / 8.0 * kSpectrumBlock * kPer;
  for (int cycles = 2; cycles <= 5 && cycles < 0.45 * division_px; ++cycles) {
    const Wave line = tapered_wave(cycles);
    const Wave below = tapered_wave(cycles - kBesideLine);
    const Wave above = tapered_wave(cycles + kBesideLine);
    for (int first = range.start; first + kRows <= range.end; first += 2) {
      std::vector<double> on;
      std::vector<double> beside;
      for (int column = 0; column + kSpectrumBlock * kPer <= rows.cols;
           column += kSpectrumBlock * kPer) {
        const cv::Range three(first, first + kRows);
        on.push_back(power_along(line, rows, three, column));
        beside.push_back(
            (power_along(below, rows, three, column) + power_along(above, rows, three, column)) /
            2.0);
      }
      if (on.size() < 3) continue;
      if (upper_median_of(on) > kStandsOut * std::max(upper_median_of(beside), kLeastBeside))
        return true;
    }
  }
  return false;
}

}  // namespace

cv::Mat stroke_depths(const cv::Mat& rows, int polarity) {
  const int ticks = rows.cols / kPer;
  cv::Mat depths(rows.rows, ticks, CV_32F);
  for (int r = 0; r < rows.rows; ++r) {
    for (int i = 0; i < ticks; ++i) {
      // The stroke: the middle quarter of the division. The ground: its outer eighths.
      const float* division = rows.ptr<float>(r) + i * kPer;
      float stroke = 0.0F;
      float ground = 0.0F;
      for (int m = 3 * kPer / 8; m <= 5 * kPer / 8; ++m) stroke += division[m];
      for (int m = 0; m < kPer / 8; ++m) ground += division[m] + division[kPer - 1 - m];
      constexpr int kGround = kPer / 4;
      depths.at<float>(r, i) =
          static_cast<float>(polarity) * (ground / kGround - stroke / (kGround + 1));
    }
  }
  return depths;
}

std::optional<FoldedTicks> fold_ticks(const cv::Mat& depths, int first_tick, int period) {
  const cv::Mat profile = folded_depths(depths, first_tick, period);
  const cv::Range common = common_rows(profile);
  if (common.size() < 3) return std::nullopt;
  FoldedTicks ticks{.common_rows = common, .lengths_px = {}};
  std::vector<double> lower;
  std::vector<double> upper;
  const int middle = (common.start + common.end) / 2;
  for (int k = 0; k < period; ++k) {
    const double depth = cv::mean(profile.col(k).rowRange(common))[0];
    const auto half = static_cast<float>(depth / 2.0);
    lower.push_back(end_row(profile, k, middle, -1, half));
    upper.push_back(end_row(profile, k, middle, 1, half));
    ticks.open = ticks.open || lower.back() < 1.0 || upper.back() > profile.rows - 2.0;
  }
  ticks.upwards = spread_of(upper) > spread_of(lower);
  ticks.base_row = upper_median_of(ticks.upwards ? lower : upper);
  for (std::size_t k = 0; k < lower.size(); ++k) {
    ticks.lengths_px.push_back(ticks.upwards ? upper[k] - ticks.base_row
                                             : ticks.base_row - lower[k]);
  }
  return ticks;
}

std::optional<double> width_of_single_strokes(const cv::Mat& rows,
                                              double division_px,
                                              const FoldedTicks& ticks,
                                              int polarity) {
  const std::vector<double> common = division_profile(rows, ticks.common_rows, polarity);
  const double ground = *std::ranges::max_element(common);
  const double depth = ground - common[common.size() / 2];
  if (!(depth > 0.0)) return std::nullopt;
  constexpr int kRows = 3;
  // The median of n values scatters 1.25 times more than their mean.
  const double doubt = kSurely * 1.25 * noise_of(rows) / std::sqrt(kRows * rows.cols / kPer);
  if (doubt > kMostDoubt * depth) return std::nullopt;
  // What stands before the common end of the ticks, as far as three divisions.
  const int reach = cvRound(3.0 * division_px);
  const int base = cvRound(ticks.base_row);
  const cv::Range before =
      ticks.upwards ? cv::Range(std::max(0, base - reach), std::max(0, base - 3))
                    : cv::Range(std::min(rows.rows, base + 4), std::min(rows.rows, base + reach));
  for (const cv::Range& range : {ticks.common_rows, before}) {
    for (int r = range.start; r + kRows <= range.end; r += 2) {
      const auto profile = division_profile(rows, {r, r + kRows}, polarity);
      if (depth_between(profile) > std::max(kBetween * depth, doubt)) return std::nullopt;
    }
  }
  if (holds_finer_comb(rows, before, division_px)) return std::nullopt;
  double width = 0.0;
  for (const double value : common) width += (ground - value) / depth / kPer;
  return width;
}

}  // namespace nightswing::calibration
