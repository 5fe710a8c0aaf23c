#include "calibration/ruler/tick_detection.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include <Eigen/Dense>

#include "calibration/map/median.h"

namespace nightswing::calibration {
namespace {

constexpr double kFittedReach = 0.7;  // divisions to both sides that enter the fit
constexpr double kLeastDepth = 0.4;   // of the median depth of the class
constexpr double kMostShift = 0.33;   // divisions
constexpr double kLeastU_px = 0.01;   // no tick is known better: its own edges are not straight
constexpr double kLeastSigma_px = 0.45;
constexpr double kEdgeMargin = 2.5;  // standard deviations left out beside the steps
constexpr double kEndMargin = 2.0;
constexpr int kUnknowns = 7;
using Row = Eigen::Matrix<double, kUnknowns, 1>;
using Square = Eigen::Matrix<double, kUnknowns, kUnknowns>;

/// The expected line of a tick and what lies beside it.
struct ExpectedTick {
  cv::Point2d middle;
  cv::Point2d along;   // unit vector away from the common end
  cv::Point2d across;  // unit vector towards growing index
  cv::Point2d inward;  // unit vector at right angles to the edge of the ruler
  double half_length_px = 0.0;
  double sigma_px = 0.0;    // standard deviation of the tick's profile
  double spacing_px = 0.0;  // to the neighbours, across
  double edge_px = 0.0;     // where the edge is, along inward from the middle
  /// Where the previous tick, this one and the next one end, along inward from the middle.
  std::array<double, 3> ends_px{};
};

double end_h_px(const TickPattern& pattern, int index) {
  return pattern.end_h_px[static_cast<std::size_t>(length_class(pattern.division, index))];
}

ExpectedTick expected_tick(const TickPattern& pattern, int index) {
  const TickGrid& grid = pattern.grid;
  const double end_px = end_h_px(pattern, index);
  const cv::Point2d base = grid.pixel_at(index, pattern.base_h_px);
  const cv::Point2d end = grid.pixel_at(index, end_px);
  ExpectedTick tick;
  tick.middle = (base + end) / 2.0;
  tick.half_length_px = cv::norm(end - base) / 2.0;
  tick.along = (end - base) / (2.0 * tick.half_length_px);
  tick.across = {-tick.along.y, tick.along.x};
  const double h_px = (pattern.base_h_px + end_px) / 2.0;
  tick.spacing_px =
      (grid.pixel_at(index + 1, h_px) - grid.pixel_at(index - 1, h_px)).dot(tick.across) / 2.0;
  if (tick.spacing_px < 0.0) {
    tick.across = -tick.across;
    tick.spacing_px = -tick.spacing_px;
  }
  // Area over height to standard deviation of a Gaussian: 1 / sqrt(2 pi). Taken from the middle of
  // the ruler: blur, which does not change with the distance, is most of it.
  tick.sigma_px = std::max(kLeastSigma_px,
                           pattern.width * grid.division_px() / std::sqrt(2.0 * std::numbers::pi));
  const cv::Point2d edge =
      grid.pixel_at(index + 1, pattern.base_h_px) - grid.pixel_at(index - 1, pattern.base_h_px);
  tick.inward = cv::Point2d(-edge.y, edge.x) / cv::norm(edge);
  if (tick.inward.dot(tick.along) < 0.0) tick.inward = -tick.inward;
  tick.edge_px = (base - tick.middle).dot(tick.inward);
  for (const int side : {-1, 0, 1}) {
    const cv::Point2d their_end = grid.pixel_at(index + side, end_h_px(pattern, index + side));
    tick.ends_px[static_cast<std::size_t>(side + 1)] = (their_end - tick.middle).dot(tick.inward);
  }
  return tick;
}

struct FittedTick {
  double depth = 0.0;
  double shift_px = 0.0;  // of the middle, across
  double tilt_px = 0.0;   // further shift at the far end
  double scatter = 0.0;   // standard deviation of the gray values about the fit
  Eigen::Matrix2d covariance_per_scatter2 = Eigen::Matrix2d::Zero();  // of shift and tilt
};

/// Gaussian and its derivative by -d.
std::array<double, 2> stroke(double d_px, double sigma_px) {
  const double z = d_px / sigma_px;
  const double value = std::exp(-0.5 * z * z);
  return {value, value * z / sigma_px};
}

/// The integral of a Gaussian: 0 far before, 1 far behind.
double blurred_step(double px, double sigma_px) {
  return 0.5 * std::erfc(-px / (std::numbers::sqrt2 * sigma_px));
}

/// What each unknown adds to the pixel: g0, g1, g2, g3, depth, depth * shift, depth * tilt.
std::optional<Row> model_row(const ExpectedTick& tick,
                             cv::Point2d pixel,
                             double shift_px,
                             double tilt_px) {
  const double reach_px = kFittedReach * tick.spacing_px;
  const cv::Point2d offset = pixel - tick.middle;
  const double l = offset.dot(tick.along) / tick.half_length_px;
  const double d_px = offset.dot(tick.across) - shift_px - tilt_px * l;
  if (std::abs(l) > 1.0 || std::abs(d_px) > reach_px) return std::nullopt;
  const double inward_px = offset.dot(tick.inward);
  const double depth_px = tick.ends_px[1] - tick.edge_px;
  if (inward_px - tick.edge_px < std::min(kEdgeMargin * tick.sigma_px, 0.3 * depth_px) ||
      tick.ends_px[1] - inward_px < std::min(kEndMargin * tick.sigma_px, 0.2 * depth_px)) {
    return std::nullopt;
  }
  const double inside = blurred_step(inward_px - tick.edge_px, tick.sigma_px);
  std::array<double, 3> shares{};
  for (std::size_t i = 0; i < 3; ++i) {
    shares[i] = inside * blurred_step(tick.ends_px[i] - inward_px, tick.sigma_px);
  }
  const auto [value, slope] = stroke(d_px, tick.sigma_px);
  const double ink = shares[0] * stroke(d_px + tick.spacing_px, tick.sigma_px)[0] +
                     shares[1] * value +
                     shares[2] * stroke(d_px - tick.spacing_px, tick.sigma_px)[0];
  Row row;
  row << 1.0, d_px / reach_px, l, inside, ink, shares[1] * slope, shares[1] * slope * l;
  return row;
}

std::optional<FittedTick> fit_tick(const cv::Mat& values,
                                   const ExpectedTick& tick,
                                   double shift_px,
                                   double tilt_px) {
  const double radius_px = tick.half_length_px + kFittedReach * tick.spacing_px + 1.0;
  if (tick.middle.x - radius_px < 0.0 || tick.middle.y - radius_px < 0.0 ||
      tick.middle.x + radius_px > values.cols - 1.0 ||
      tick.middle.y + radius_px > values.rows - 1.0) {
    return std::nullopt;
  }
  Square normal = Square::Zero();
  Row right = Row::Zero();
  double power = 0.0;
  int count = 0;
  for (int y = cvCeil(tick.middle.y - radius_px); y <= cvFloor(tick.middle.y + radius_px); ++y) {
    const float* line = values.ptr<float>(y);
    for (int x = cvCeil(tick.middle.x - radius_px); x <= cvFloor(tick.middle.x + radius_px); ++x) {
      const auto row = model_row(tick, cv::Point2d(x, y), shift_px, tilt_px);
      if (!row) continue;
      const double gray = static_cast<double>(line[x]);
      normal += *row * row->transpose();
      right += *row * gray;
      power += gray * gray;
      ++count;
    }
  }
  if (count < kUnknowns + 4) return std::nullopt;
  // The step at the edge may be all but constant over the tick: a little is known of it.
  normal(3, 3) += 1e-4 * count;
  const Eigen::LDLT<Square> solver(normal);
  const Row fit = solver.solve(right);
  const Square inverse = solver.solve(Square::Identity());
  if (!fit.allFinite() || fit[4] == 0.0 || !(inverse(5, 5) > 0.0) || !(inverse(6, 6) > 0.0)) {
    return std::nullopt;
  }
  const double residual_power = std::max(0.0, power - fit.dot(right));
  return FittedTick{.depth = fit[4],
                    .shift_px = shift_px + fit[5] / fit[4],
                    .tilt_px = tilt_px + fit[6] / fit[4],
                    .scatter = std::sqrt(residual_power / (count - kUnknowns)),
                    .covariance_per_scatter2 = inverse.block<2, 2>(5, 5) / (fit[4] * fit[4])};
}

struct Candidate {
  int index;
  int rank;
  ExpectedTick expected;
  FittedTick fitted;
};

std::vector<Candidate> fit_all(const cv::Mat& values, const TickPattern& pattern) {
  std::vector<Candidate> candidates;
  for (int index = pattern.grid.first(); index <= pattern.grid.last(); ++index) {
    const ExpectedTick expected = expected_tick(pattern, index);
    const double limit_px = kMostShift * expected.spacing_px;
    std::optional<FittedTick> fitted = fit_tick(values, expected, 0.0, 0.0);
    const auto in_place = [&] {
      return fitted && fitted->depth * pattern.polarity < 0.0 &&
             std::abs(fitted->shift_px) + std::abs(fitted->tilt_px) < limit_px;
    };
    // Linear in shift and tilt, so about the last result again, until it rests.
    for (int round = 0; round < 3 && in_place(); ++round) {
      fitted = fit_tick(values, expected, fitted->shift_px, fitted->tilt_px);
    }
    if (!in_place()) continue;
    candidates.push_back({index, length_class(pattern.division, index), expected, *fitted});
  }
  return candidates;
}

/// scatter  standard deviation of the gray values about the fit.
MeasuredTick measured(const Candidate& c, double scatter) {
  const auto at = [&c](double l) {
    const cv::Point2d p = c.expected.middle + c.expected.along * (l * c.expected.half_length_px) +
                          c.expected.across * (c.fitted.shift_px + c.fitted.tilt_px * l);
    return PixelPoint{p.x, p.y};
  };
  // The covariance of the line's place at l and m is a + b (l + m) + c l m; it vanishes for
  // l, m = -b / c +- sqrt(a' / c), a' = a - b^2 / c, where both variances are 2 a'.
  const Eigen::Matrix2d& covariance = c.fitted.covariance_per_scatter2;
  const double middle = -covariance(0, 1) / covariance(1, 1);
  const double least = covariance(0, 0) + middle * covariance(0, 1);
  const double apart = std::sqrt(least / covariance(1, 1));
  return {.index = c.index,
          .length_class = c.rank,
          .near = at(middle - apart),
          .far = at(middle + apart),
          .u_px = std::max(kLeastU_px, std::sqrt(2.0 * least) * scatter)};
}

}  // namespace

std::vector<MeasuredTick> measure_ticks(const cv::Mat& values, const TickPattern& pattern) {
  const std::vector<Candidate> candidates = fit_all(values, pattern);
  if (candidates.empty()) return {};
  std::vector<double> depths;
  std::vector<double> scatters;
  for (const Candidate& c : candidates) {
    depths.push_back(std::abs(c.fitted.depth));
    scatters.push_back(c.fitted.scatter);
  }
  const double least_depth = kLeastDepth * upper_median_of(depths);
  const double scatter = upper_median_of(scatters);
  std::vector<MeasuredTick> ticks;
  for (const Candidate& c : candidates) {
    if (std::abs(c.fitted.depth) < least_depth) continue;
    ticks.push_back(measured(c, std::max(scatter, c.fitted.scatter)));
  }
  return ticks;
}

}  // namespace nightswing::calibration
