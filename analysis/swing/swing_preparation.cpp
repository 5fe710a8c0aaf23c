#include "analysis/swing/swing_preparation.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "analysis/positions/track_cleaning.h"
#include "analysis/quantities/median.h"

namespace nightswing::analysis {
namespace {

constexpr double kFalseReadingSigmas = 5.0;
constexpr std::ptrdiff_t kLeastPerSegment = 4;  // twice the unknowns of its swing
constexpr std::size_t kLeastSquaresSamples = 4000;

/// Each value less the median of the nine around it: a disturbed swing passes, a false reading
/// stays.
std::vector<double> less_running_median(const std::vector<double>& values) {
  constexpr std::size_t kWindow = 9;
  std::vector<double> rest(values.size(), 0.0);
  if (values.size() < kWindow) return rest;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const std::size_t first = std::clamp<std::size_t>(i, 4, values.size() - 5) - 4;
    std::array<double, kWindow> around{};
    std::copy_n(values.begin() + static_cast<std::ptrdiff_t>(first), kWindow, around.begin());
    std::ranges::nth_element(around, around.begin() + 4);
    rest[i] = values[i] - around[4];
  }
  return rest;
}

}  // namespace

std::string too_few_to_fit(std::span<const PlacedSample> samples,
                           std::span<const Segment> segments) {
  if (samples.size() < 2 * (6 + 2 * segments.size())) {
    return fmt::format("{} positions in the segments are too few to fit", samples.size());
  }
  for (std::size_t k = 0; k < segments.size(); ++k) {
    const auto count = std::ranges::count(samples, k, &PlacedSample::segment);
    if (count >= kLeastPerSegment) continue;
    return fmt::format("side {} from {:.0f} s to {:.0f} s has {} positions, too few to fit",
                       name_of(segments[k].side),
                       segments[k].from_s,
                       segments[k].to_s,
                       count);
  }
  return {};
}

LeastSquaresSwing least_squares_start(const PreparedSwing& prepared,
                                      const SwingStart& start,
                                      std::optional<int> drift_order) {
  std::vector<SwingSample> series;
  for (const PlacedSample& s : prepared.samples) series.push_back(s.sample);
  std::vector<Segment> near;
  for (const Segment& s : prepared.segments) {
    if (s.side != Side::kAway) near.push_back(s);
  }
  const int order = drift_order.value_or(near.size() < 4 ? 1 : 2);
  return least_squares_swing(
      thinned(series, kLeastSquaresSamples), near, start, std::min(order, 2));
}

std::vector<double> take_out_false_readings(PreparedSwing& prepared) {
  std::vector<double> left_out_s;
  std::vector<double> residuals;
  const std::vector<Segment>& segments = prepared.segments;
  std::vector<std::size_t> near_index(segments.size(), 0);
  std::size_t near = 0;
  for (std::size_t k = 0; k < segments.size(); ++k) {
    near_index[k] = near;
    if (segments[k].side != Side::kAway) ++near;
  }
  for (const PlacedSample& s : prepared.samples) {
    const Segment& segment = segments[s.segment];
    // The swing of an away segment is not known yet; the running median follows it well enough.
    const double expected_mm =
        segment.side == Side::kAway
            ? 0.0
            : prepared.least_squares.position_mm(s.sample.t_s, near_index[s.segment]);
    residuals.push_back(s.sample.x_mm - expected_mm);
  }
  const std::vector<double> rest = less_running_median(residuals);
  const double limit = kFalseReadingSigmas * robust_sigma(rest);
  if (!(limit > kNoiseless_mm)) return left_out_s;
  std::vector<PlacedSample> kept;
  for (std::size_t i = 0; i < rest.size(); ++i) {
    if (std::abs(rest[i]) <= limit) {
      kept.push_back(prepared.samples[i]);
    } else {
      left_out_s.push_back(prepared.samples[i].sample.t_s);
    }
  }
  prepared.samples = std::move(kept);
  return left_out_s;
}

}  // namespace nightswing::analysis
