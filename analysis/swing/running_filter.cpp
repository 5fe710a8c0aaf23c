#include "analysis/swing/running_filter.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/swing/swing_recursion.h"
#include "analysis/swing/swing_track.h"

namespace nightswing::analysis {
namespace {

using swing_recursion::Recursion;

constexpr double kForecastGrowth = 1.01;  // of the time ahead, between two looks at u

}  // namespace

struct RunningFilter::State {
  Recursion<double> recursion;
  FilterLayout layout;
  DriftModel drift;
  std::vector<Segment> segments;  // as of the fit: the drift's unit of time
  std::vector<Side> sides;
  double origin_mm;
  double white_variance_mm2;
  double mean_square_u_mm2;
  double reading_s;
  bool slow_in_position;
  std::size_t readings = 0;
  double last_t_s = 0.0;
  double last_x_mm = 0.0;
  double widening_shift = 1.0;
  double widening_level = 1.0;
  swing_recursion::Solved solved{};  // after the last reading

  [[nodiscard]] Eigen::RowVectorXd design(double t_s) const {
    const auto terms = drift_terms(drift, segments, t_s);
    Eigen::RowVectorXd row = Eigen::RowVectorXd::Zero(std::ssize(sides) + std::ssize(terms));
    row(std::ranges::find(sides, segments.back().side) - sides.begin()) = 1.0;
    for (std::size_t k = 0; k < terms.size(); ++k) {
      row(std::ssize(sides) + static_cast<Eigen::Index>(k)) = terms[k];
    }
    return row;
  }

  [[nodiscard]] FilterPoint point(const SwingSample& sample) const {
    const double x_mm = sample.x_mm - origin_mm;
    return {.t_s = sample.t_s,
            .x_mm = x_mm,
            .variance_ratio = sample.u_mm * sample.u_mm / mean_square_u_mm2,
            .slow_step = slow_in_position ? std::abs(x_mm - last_x_mm) : sample.t_s - last_t_s,
            .away = segments.back().side == Side::kAway,
            .frequency_ratio = segments.back().frequency_ratio};
  }

  /// Value and u along a combination of beta; the rows of the design come first in it.
  [[nodiscard]] Measured along(const Eigen::VectorXd& weights) const {
    const Eigen::Index n = weights.size();
    const double variance = weights.dot(solved.inverse.topLeftCorner(n, n) * weights);
    return {weights.dot(solved.beta.head(n)),
            std::sqrt(std::max(0.0, variance * white_variance_mm2))};
  }

  [[nodiscard]] Measured level() const {
    Measured level = along(design(0.5 * (segments.back().from_s + last_t_s)).transpose());
    level.value += origin_mm;
    return level;
  }

  [[nodiscard]] std::optional<Measured> shift() const {
    if (sides.size() < 2 || sides[0] != Side::kPlus || sides[1] != Side::kMinus) return {};
    Eigen::VectorXd weights = Eigen::VectorXd::Zero(2);
    weights << 1.0, -1.0;
    return along(weights);
  }
};

RunningFilter::RunningFilter(std::unique_ptr<State> state) : state_(std::move(state)) {}
RunningFilter::~RunningFilter() = default;
RunningFilter::RunningFilter(RunningFilter&&) noexcept = default;
RunningFilter& RunningFilter::operator=(RunningFilter&&) noexcept = default;

std::optional<RunningFilter> RunningFilter::after(const SwingFit& fit) {
  if (!fit.filter || fit.segments.empty()) return std::nullopt;
  const FittedFilter& f = *fit.filter;
  const auto parameters = swing_recursion::parameters_from(f.track, f.layout, f.x.data());
  auto state = std::make_unique<State>(State{
      .recursion = Recursion<double>(swing_recursion::shape_of(f.track), f.layout, parameters),
      .layout = f.layout,
      .drift = f.model.drift,
      .segments = f.segments,
      .sides = sides_of(f.segments),
      .origin_mm = f.origin_mm,
      .white_variance_mm2 = f.white_variance_mm2,
      .mean_square_u_mm2 = f.mean_square_u_mm2,
      .reading_s = f.reading_s,
      .slow_in_position = f.model.slow_noise == SlowNoise::kInPosition});
  if (!state->recursion.run(f.track, [](std::size_t, const Recursion<double>&) {})) return {};
  state->readings = f.track.points.size();
  state->last_t_s = f.track.points.back().t_s;
  state->last_x_mm = f.track.points.back().x_mm;
  state->solved = swing_recursion::solve(state->recursion, state->readings);
  if (!state->solved.usable) return {};
  const double level_u = state->level().u;
  if (level_u > 0.0) {
    state->widening_level = std::max(1.0, fit.segments.back().equilibrium_mm.u / level_u);
  }
  const auto shift = state->shift();
  if (shift && shift->u > 0.0) state->widening_shift = std::max(1.0, fit.shift_mm.u / shift->u);
  return RunningFilter(std::move(state));
}

double RunningFilter::reading_s() const {
  return state_->reading_s;
}

double RunningFilter::surprise(const SwingSample& sample) const {
  const State& s = *state_;
  Recursion<double> ahead = s.recursion;
  ahead.foretell(s.point(sample), s.design(sample.t_s));
  const Eigen::Map<const Eigen::VectorXd> columns(ahead.innovations().data() + 1,
                                                  s.solved.beta.size());
  const double error_mm = ahead.innovations()[0] - columns.dot(s.solved.beta);
  const double variance = ahead.innovation_variance() + columns.dot(s.solved.inverse * columns);
  return std::abs(error_mm) / std::sqrt(variance * s.white_variance_mm2);
}

void RunningFilter::take(const SwingSample& reading) {
  State& s = *state_;
  const FilterPoint point = s.point(reading);
  if (!s.recursion.take(point, s.design(reading.t_s))) return;
  ++s.readings;
  s.last_t_s = point.t_s;
  s.last_x_mm = point.x_mm;
  s.solved = swing_recursion::solve(s.recursion, s.readings);
}

std::optional<RunningLevels> RunningFilter::levels() const {
  const State& s = *state_;
  if (!s.solved.usable) return std::nullopt;
  RunningLevels levels{.equilibrium_mm = s.level()};
  levels.equilibrium_mm.u *= s.widening_level;
  if (auto shift = s.shift()) levels.shift_mm = Measured{shift->value, s.widening_shift * shift->u};
  return levels;
}

std::optional<double> RunningFilter::seconds_to(double target,
                                                const Pace& pace,
                                                double most_s) const {
  if (!state_->solved.usable) return std::nullopt;
  State ahead = *state_;
  const auto now = ahead.shift();
  if (!now) return std::nullopt;
  const double wanted_mm = target * std::abs(now->value);
  const auto reached = [&] { return ahead.widening_shift * ahead.shift()->u <= wanted_mm; };
  if (reached()) return 0.0;
  const double begin_s = ahead.last_t_s;
  double next_look_s = pace.every_s;
  while (ahead.last_t_s - begin_s < most_s) {
    const double t_s = ahead.last_t_s + pace.every_s;
    // The covariance does not depend on the position; that of the way does not matter here.
    const SwingSample reading{t_s, ahead.last_x_mm + ahead.origin_mm, pace.u_mm};
    if (!ahead.recursion.take(ahead.point(reading), ahead.design(t_s))) return std::nullopt;
    ++ahead.readings;
    ahead.last_t_s = t_s;
    if (t_s - begin_s < next_look_s) continue;
    next_look_s = kForecastGrowth * (t_s - begin_s);
    ahead.solved = swing_recursion::solve(ahead.recursion, ahead.readings);
    if (!ahead.solved.usable) return std::nullopt;
    if (reached()) return t_s - begin_s;
  }
  return std::nullopt;
}

}  // namespace nightswing::analysis
