#include "tracker/run/track_average.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <stdexcept>

namespace nightswing::tracker {
namespace {

constexpr double kMemory_windows = 300.0;

double weight_of(const TrackRow& row) {
  const SpotPosition& spot = *row.spot.position;
  return 1.0 / (spot.u_x_px * spot.u_y_px);
}

double mean_of(const std::vector<TrackRow>& rows, auto value) {
  double sum = 0.0;
  double weights = 0.0;
  for (const TrackRow& row : rows) {
    sum += weight_of(row) * value(row);
    weights += weight_of(row);
  }
  return sum / weights;
}

/// Residuals from the weighted straight line in time, over the stated uncertainty.
std::vector<double> pulls_of(const std::vector<TrackRow>& rows, auto place, auto u) {
  const double mean_t_s = mean_of(rows, [](const TrackRow& row) { return row.t_s; });
  const double mean = mean_of(rows, place);
  const auto product = [&](auto other) {
    return mean_of(rows, [&](const TrackRow& row) { return (row.t_s - mean_t_s) * other(row); });
  };
  const double spread = product([&](const TrackRow& row) { return row.t_s - mean_t_s; });
  const double slope = product([&](const TrackRow& row) { return place(row) - mean; }) / spread;
  std::vector<double> pulls;
  for (const TrackRow& row : rows) {
    pulls.push_back((place(row) - mean - slope * (row.t_s - mean_t_s)) / u(row));
  }
  return pulls;
}

double x_of(const TrackRow& row) {
  return row.spot.position->x_px;
}
double y_of(const TrackRow& row) {
  return row.spot.position->y_px;
}
double u_x_of(const TrackRow& row) {
  return row.spot.position->u_x_px;
}
double u_y_of(const TrackRow& row) {
  return row.spot.position->u_y_px;
}

}  // namespace

void TrackAverage::Scatter::take(const std::vector<double>& pulls) {
  for (double* sum : {&squares_over_u2, &products_over_u2, &points, &windows}) {
    *sum *= 1.0 - 1.0 / kMemory_windows;
  }
  for (std::size_t k = 0; k < pulls.size(); ++k) {
    squares_over_u2 += pulls[k] * pulls[k];
    if (k > 0) products_over_u2 += pulls[k] * pulls[k - 1];
  }
  points += static_cast<double>(pulls.size());
  windows += 1.0;
}

double TrackAverage::Scatter::mean_variance(double mean_u2, double n) const {
  if (windows <= 0.0 || squares_over_u2 <= 0.0) return mean_u2;
  // A line takes two degrees of freedom with it, and as many times more as the noise of a mean
  // exceeds that of white noise; neighbours' products lose the same share.
  const double usual_n = points / windows;
  const double most_excess = std::max(1.0, usual_n / 4.0);
  double excess = 1.0;
  double shown = 1.0;  // s^2 over u^2
  for (int round = 0; round < 8; ++round) {
    shown = squares_over_u2 / (points - 2.0 * excess * windows);
    const double correlation =
        products_over_u2 / (points - windows) / shown + 2.0 * excess / usual_n;
    excess = std::clamp((1.0 + correlation) / std::max(1.0 - correlation, 0.01), 1.0, most_excess);
  }
  return mean_u2 * (std::max(1.0 - shown, 0.0) + shown * std::min(1.0, excess / n));
}

TrackAverage::TrackAverage(double window_s) : window_s_(window_s) {
  if (!(window_s > 0.0)) throw std::invalid_argument("track average: no window");
}

std::optional<TrackRow> TrackAverage::add(const TrackRow& row) {
  const long window = std::lround(std::floor(row.t_s / window_s_ + 1e-9));
  std::optional<TrackRow> over;
  if (window != window_) over = finish();
  window_ = window;
  rows_.push_back(row);
  return over;
}

TrackRow TrackAverage::unmeasured() const {
  std::array<int, 5> counts{};
  for (const TrackRow& row : rows_) ++counts.at(static_cast<std::size_t>(row.spot.state));
  const auto most = std::ranges::max_element(counts) - counts.begin();
  TrackRow result = rows_[rows_.size() / 2];
  result.spot = {static_cast<SpotState>(most), std::nullopt};
  return result;
}

void TrackAverage::learn(const std::vector<TrackRow>& measured) {
  if (measured.size() < 3) return;
  scatter_x_.take(pulls_of(measured, x_of, u_x_of));
  scatter_y_.take(pulls_of(measured, y_of, u_y_of));
}

std::optional<TrackRow> TrackAverage::finish() {
  if (rows_.empty()) return std::nullopt;
  std::vector<TrackRow> measured;
  std::ranges::copy_if(rows_, std::back_inserter(measured), [](const TrackRow& row) {
    return is_measured(row.spot.state);
  });
  if (measured.empty()) {
    const TrackRow result = unmeasured();
    rows_.clear();
    return result;
  }
  learn(measured);
  const auto n = static_cast<double>(measured.size());
  const auto squared = [](double value) { return value * value; };
  const double u2_x = mean_of(measured, [&](const auto& row) { return squared(u_x_of(row)); });
  const double u2_y = mean_of(measured, [&](const auto& row) { return squared(u_y_of(row)); });
  const auto clipped = std::ranges::count(
      measured, SpotState::kClipped, [](const TrackRow& row) { return row.spot.state; });
  TrackRow result = measured.front();
  result.t_s = mean_of(measured, [](const TrackRow& row) { return row.t_s; });
  if (result.utc) result.utc = after(*result.utc, result.t_s - measured.front().t_s);
  result.spot = {
      2 * clipped >= std::ssize(measured) ? SpotState::kClipped : SpotState::kFound,
      SpotPosition{
          mean_of(measured, x_of),
          mean_of(measured, y_of),
          std::sqrt(scatter_x_.mean_variance(u2_x, n)),
          std::sqrt(scatter_y_.mean_variance(u2_y, n)),
          mean_of(measured, [](const TrackRow& row) { return row.spot.position->peak; }),
          mean_of(measured, [](const TrackRow& row) { return row.spot.position->width_px; })}};
  rows_.clear();
  return result;
}

}  // namespace nightswing::tracker
