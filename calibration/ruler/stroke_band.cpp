#include "calibration/ruler/stroke_band.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <tuple>

#include <Eigen/Dense>
#include <opencv2/imgproc.hpp>

#include "calibration/map/median.h"
#include "calibration/map/robust_fit.h"

namespace nightswing::calibration {
namespace {

constexpr int kCell_px = 4;          // one vote for each square of this side
constexpr double kCoherent = 0.35;   // (l1 - l2) / (l1 + l2) of the structure tensor
constexpr double kOneSided = 0.5;    // |mean gradient| / root mean square gradient along the axis
constexpr double kAboveUsual = 1.3;  // tensor against its median over the picture
constexpr double kLeastGradient = 0.5;  // gray values a px: what rounding to whole ones makes

/// How the picture is looked at, all in standard deviations of a Gaussian: fine for small sharp
/// ticks, which fill a narrow row beside the edge of the ruler, soft for large ones in noise.
struct Look {
  double smooth_px;
  double window_px;
  double limit;  ///< a gradient counts up to the root of so many times the usual power
};
constexpr std::array<Look, 2> kLooks{Look{0.0, 3.0, 2.0}, Look{1.0, 7.0, 10.0}};

constexpr int kAngles = 180;
constexpr double kMostSkew_rad = 0.9;  // between the row and the normal of its strokes
constexpr double kReach_px = 12.0;     // cells within it belong to a line
constexpr double kHintReach_px = 24.0;
constexpr double kHintReach_rad = 0.1;
constexpr int kLeastCells = 20;
constexpr double kMostLeanPerPx = 2e-3;

/// A place that shows strokes, and the axis of their gradients.
struct Vote {
  cv::Point2d place;
  double normal_rad;
};

double median_in(const cv::Mat& values) {
  return static_cast<double>(
      upper_median_of(std::vector<float>(values.begin<float>(), values.end<float>())));
}

/// Structure tensor of the picture, averaged over the window.
struct Tensor {
  cv::Mat xx, xy, yy;
  cv::Mat mean_x, mean_y;  // of the gradient itself
};

/// Gradients count by their direction and only up to a limit: else the one bright edge of the ruler
/// would outweigh all ticks beside it.
Tensor tensor_of(const cv::Mat& values, Look look) {
  cv::Mat smooth;
  if (look.smooth_px > 0.0) {
    cv::GaussianBlur(values, smooth, {}, look.smooth_px);
  } else {
    smooth = values;
  }
  cv::Mat gx;
  cv::Mat gy;
  cv::Scharr(smooth, gx, CV_32F, 1, 0, 1.0 / 32.0);
  cv::Scharr(smooth, gy, CV_32F, 0, 1, 1.0 / 32.0);
  cv::Mat power = gx.mul(gx) + gy.mul(gy);
  const double usual = std::max(kLeastGradient * kLeastGradient, look.limit * median_in(power));
  power += usual;
  cv::Mat amount;
  cv::sqrt(power, amount);
  gx /= amount;
  gy /= amount;
  const auto mean = [&look](const cv::Mat& field) {
    cv::Mat result;
    cv::GaussianBlur(field, result, {}, look.window_px);
    return result;
  };
  return {.xx = mean(gx.mul(gx)),
          .xy = mean(gx.mul(gy)),
          .yy = mean(gy.mul(gy)),
          .mean_x = mean(gx),
          .mean_y = mean(gy)};
}

void add_votes(const cv::Mat& values, Look look, std::vector<Vote>& votes) {
  const Tensor tensor = tensor_of(values, look);
  const double floor = kAboveUsual * median_in(tensor.xx + tensor.yy);
  for (int y = kCell_px / 2; y < values.rows; y += kCell_px) {
    for (int x = kCell_px / 2; x < values.cols; x += kCell_px) {
      const double xx = static_cast<double>(tensor.xx.at<float>(y, x));
      const double xy = static_cast<double>(tensor.xy.at<float>(y, x));
      const double yy = static_cast<double>(tensor.yy.at<float>(y, x));
      const double spread = std::hypot(xx - yy, 2.0 * xy);
      // Where the picture is mostly black or saturated, the floor is 0, and so is what shows
      // nothing.
      if (xx + yy <= floor || spread < kCoherent * (xx + yy)) continue;
      const double normal_rad = std::atan2(2.0 * xy, xx - yy) / 2.0;
      const double along_axis =
          std::cos(normal_rad) * static_cast<double>(tensor.mean_x.at<float>(y, x)) +
          std::sin(normal_rad) * static_cast<double>(tensor.mean_y.at<float>(y, x));
      if (std::abs(along_axis) > kOneSided * std::sqrt((xx + yy + spread) / 2.0)) continue;
      votes.push_back({{static_cast<double>(x), static_cast<double>(y)}, normal_rad});
    }
  }
}

/// Angle between two axes, 0 to a quarter turn.
double between_axes_rad(double a_rad, double b_rad) {
  const double turn = std::remainder(a_rad - b_rad, std::numbers::pi);
  return std::abs(turn);
}

void keep_along_hint(std::vector<Vote>& votes, const RulerHint& hint) {
  const cv::Point2d from(hint.from.x_px, hint.from.y_px);
  const cv::Point2d step(hint.to.x_px - hint.from.x_px, hint.to.y_px - hint.from.y_px);
  const double length_px = cv::norm(step);
  std::erase_if(votes, [&](const Vote& vote) {
    const cv::Point2d offset = vote.place - from;
    const double s_px = offset.dot(step) / length_px;
    const double t_px = offset.cross(step) / length_px;
    return s_px < -kHintReach_px || s_px > length_px + kHintReach_px ||
           std::abs(t_px) > kHintReach_px;
  });
}

struct Line {
  cv::Point2d origin;
  cv::Point2d along;
};

double t_of(const Line& line, cv::Point2d place) {
  const cv::Point2d offset = place - line.origin;
  return line.along.cross(offset);
}

/// The line with most votes.
std::optional<Line> strongest_line(const std::vector<Vote>& votes,
                                   cv::Size size,
                                   const std::optional<double>& hint_rad) {
  const int reach = cvCeil(std::hypot(size.width, size.height) / kCell_px) + 1;
  cv::Mat counts = cv::Mat::zeros(kAngles, 2 * reach + 1, CV_32S);
  for (int angle = 0; angle < kAngles; ++angle) {
    const double along_rad = angle * std::numbers::pi / kAngles;
    if (hint_rad && between_axes_rad(along_rad, *hint_rad) > kHintReach_rad) continue;
    const cv::Point2d across(-std::sin(along_rad), std::cos(along_rad));
    int* row = counts.ptr<int>(angle);
    for (const Vote& vote : votes) {
      if (between_axes_rad(vote.normal_rad, along_rad) > kMostSkew_rad) continue;
      ++row[cvRound(vote.place.dot(across) / kCell_px) + reach];
    }
  }
  double most = 0.0;
  cv::Point where;
  cv::minMaxLoc(counts, nullptr, &most, nullptr, &where);
  if (most < kLeastCells) return std::nullopt;
  const double along_rad = where.y * std::numbers::pi / kAngles;
  const cv::Point2d across(-std::sin(along_rad), std::cos(along_rad));
  return Line{.origin = across * ((where.x - reach) * kCell_px),
              .along = {std::cos(along_rad), std::sin(along_rad)}};
}

/// The longest stretch of s without a gap wider than a third of all.
std::pair<double, double> stretch_of(std::vector<double> s_px) {
  std::ranges::sort(s_px);
  const double gap_px = std::max(30.0, (s_px.back() - s_px.front()) / 3.0);
  std::pair<double, double> best{s_px.front(), s_px.front()};
  double start = s_px.front();
  for (std::size_t i = 1; i < s_px.size(); ++i) {
    if (s_px[i] - s_px[i - 1] > gap_px) start = s_px[i];
    if (s_px[i] - start > best.second - best.first) best = {start, s_px[i]};
  }
  return best;
}

std::vector<Vote> votes_near(const Line& line, const std::vector<Vote>& votes) {
  std::vector<Vote> near;
  for (const Vote& vote : votes) {
    if (std::abs(t_of(line, vote.place)) < kReach_px) near.push_back(vote);
  }
  return near;
}

/// Straightens a line onto the votes near it; returns how much these are bent (t = bend s^2).
double straighten(Line& line, const std::vector<Vote>& votes) {
  double bend_per_px = 0.0;
  for (int round = 0; round < 3; ++round) {
    const std::vector<Vote> near = votes_near(line, votes);
    cv::Point2d centre(0.0, 0.0);
    for (const Vote& vote : near) centre += vote.place / static_cast<double>(near.size());
    const auto count = static_cast<Eigen::Index>(near.size());
    Eigen::MatrixXd rows(count, 3);
    Eigen::VectorXd t_px(count);
    for (Eigen::Index i = 0; i < count; ++i) {
      const cv::Point2d offset = near[static_cast<std::size_t>(i)].place - centre;
      const double s_px = offset.dot(line.along);
      rows.row(i) << 1.0, s_px, s_px * s_px;
      t_px[i] = line.along.cross(offset);
    }
    const Eigen::VectorXd fit = robust_solution(rows, t_px);
    const cv::Point2d across(-line.along.y, line.along.x);
    line.origin = centre + across * fit[0];
    const cv::Point2d turned = line.along + across * fit[1];
    line.along = turned / cv::norm(turned);
    bend_per_px = fit[2];
  }
  return bend_per_px;
}

/// Sets lean and extent of a band from the votes on it.
void set_strokes(const std::vector<Vote>& near, StrokeBand& band) {
  std::vector<double> s_px;
  const auto count = static_cast<Eigen::Index>(near.size());
  Eigen::MatrixXd rows(count, 2);
  Eigen::VectorXd leans(count);
  const double along_rad = std::atan2(band.along.y, band.along.x);
  for (Eigen::Index i = 0; i < count; ++i) {
    const Vote& vote = near[static_cast<std::size_t>(i)];
    s_px.push_back((vote.place - band.origin).dot(band.along));
    rows.row(i) << 1.0, s_px.back();
    // A stroke is at right angles to its gradient.
    const double turn = std::remainder(vote.normal_rad - along_rad, std::numbers::pi);
    leans[i] = -std::tan(std::clamp(turn, -1.2, 1.2));
  }
  const Eigen::VectorXd fit = robust_solution(rows, leans);
  band.lean = fit[0];
  band.lean_per_px = fit[1];
  if (std::abs(band.lean_per_px) > kMostLeanPerPx) {
    // No camera sees strokes fan out so: the axes of other things are among them.
    band.lean = upper_median_of(std::vector<double>(leans.begin(), leans.end()));
    band.lean_per_px = 0.0;
  }
  std::tie(band.from_px, band.to_px) = stretch_of(s_px);
}

/// The band that the votes near a line make up; the line is straightened onto them first.
StrokeBand band_along(Line line, const std::vector<Vote>& votes) {
  StrokeBand band;
  band.edge_per_px2 = straighten(line, votes);
  band.origin = line.origin;
  band.along = line.along;
  const std::vector<Vote> near = votes_near(line, votes);
  if (!near.empty()) set_strokes(near, band);
  return band;
}

}  // namespace

cv::Point2d pixel_at(const StrokeBand& band, double s_px, double t_px) {
  const cv::Point2d across(-band.along.y, band.along.x);
  const double lean = band.lean + band.lean_per_px * s_px;
  const double across_px = t_px + (band.edge_per_px + band.edge_per_px2 * s_px) * s_px;
  return band.origin + band.along * (s_px + lean * across_px) + across * across_px;
}

std::vector<StrokeBand> find_stroke_bands(const cv::Mat& values,
                                          const std::optional<RulerHint>& hint,
                                          int most) {
  std::vector<Vote> votes;
  for (const Look& look : kLooks) add_votes(values, look, votes);
  std::optional<double> hint_rad;
  if (hint) {
    keep_along_hint(votes, *hint);
    hint_rad = std::atan2(hint->to.y_px - hint->from.y_px, hint->to.x_px - hint->from.x_px);
  }
  std::vector<StrokeBand> bands;
  for (int i = 0; i < most; ++i) {
    const auto line = strongest_line(votes, values.size(), hint_rad);
    if (!line) break;
    const StrokeBand band = band_along(*line, votes);
    bands.push_back(band);
    const Line refined{band.origin, band.along};
    std::erase_if(votes, [&](const Vote& vote) {
      return std::abs(t_of(*line, vote.place)) < kReach_px ||
             std::abs(t_of(refined, vote.place)) < kReach_px;
    });
  }
  return bands;
}

}  // namespace nightswing::calibration
